"""The one error a user can mend."""


class Refusal(Exception):
    """Something was refused or failed, and the person can do something about it (exit code 1).

    `text` says what, `fix` says the next step; both end up on one line.
    """

    def __init__(self, text: str, fix: str = "") -> None:
        super().__init__(f"{text} {fix}".strip())
        self.text = text
        self.fix = fix
