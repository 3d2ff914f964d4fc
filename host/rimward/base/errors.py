"""Error that a user can correct."""


class Refusal(Exception):
    """A request that was refused or failed and that the person can correct (exit code 1).

    `text` says what is wrong, `fix` names the next step; both are shown on one line.
    """

    def __init__(self, text: str, fix: str = "") -> None:
        super().__init__(f"{text} {fix}".strip())
        self.text = text
        self.fix = fix
