"""Wording of pages: commands and options in a refusal are replaced by the page's own actions and fields."""

import re

# part of a sentence -> replacement on a page
PARTS = (
    (
        r", or answer for a wheel of the register: rimward wheel ask WHEEL",
        ", under the tyre's size on the Wheel page",
    ),
    (r", or find it with rimward rim-type --wheel WHEEL", ", or ask its maker"),
    (r": rimward wheel ask WHEEL", " on the Wheel page"),
    (r"`rimward ceiling` refuses this pair", "the limits refuse this pair"),
    (
        r"only a maker's table \(--maker-table\) overrides this",
        "only a table of the maker overrides this",
    ),
    (r", or name its port with --port", ""),
    (r", or add --unverified to count it all the same", ""),
    (r", or try it with --virtual", ""),
    (r" \(--(?:to|thinned|retention-only)\)", ""),
    (r"Choose one with --port PORT, or set RIMWARD_PORT", "Choose one on the Set-up page"),
)
# option -> field of a page
OPTIONS = {
    "approved": "the approval:", "bead": "the bead:", "air": "what is inside:", "fill-temp": "it as the air where you fill",
    "ride-temp-max": "the hottest the tyre can get", "ride-altitude-max": "the ride's highest point", "rim": "the rim", "volume-l": "the volume",
    "to": "the end of the steps", "retention-only": "a test without steps", "step": "the step", "step-hold": "its hold", "ramp": "the ramp",
}  # fmt: skip
# pattern of a sentence with a command -> sentence on a page; the first matching row is used
ACTS = (
    (
        r"pip install|rimward install",
        "Ask the person who looks after this computer to add what is missing.",
    ),
    (
        r"--purpose bench",
        "Give the bench its key on the Set-up page; its workshop button confirms it.",
    ),
    (r"rimward key ", "Make or give the workshop key on the Set-up page."),
    (
        r"rimward serve",
        "Start the workshop page again on the computer where it runs, then open the address that it shows.",
    ),
    (r"rimward proof ", "See the tests on the Bench page."),
    (
        r"rimward session ",
        "See the Record page: records come there by themselves from a connected inflator.",
    ),
    (r"rimward (inflators|virtual)", "Plug the inflator in, then look for it on the Set-up page."),
    (r"rimward profile ", "Make the profile on the wheel's Limit page."),
    (r"rimward (wheel|rim-type) ", "Choose or enter it on the Wheel page."),
    (r"rimward ceiling", "The wheel's Limit page shows every reason."),
    (r"", "Ask the person who looks after this computer."),
)
COMMAND = re.compile(r"\brimward [a-z]|\bpip install|`wheel import`")
OPTION = re.compile(r"(?<![\w-])--([a-z][a-z-]*)")
SENTENCE = re.compile(r"(?<=[.!?])\s+")


def on_page(text: str) -> str:
    """Return the text for a page: no command, no option."""
    for part, words in PARTS:
        text = re.sub(part, words, text)
    said: list[str] = []
    for sentence in SENTENCE.split(text):
        act = (
            next(words for pattern, words in ACTS if re.search(pattern, sentence))
            if COMMAND.search(sentence)
            else sentence
        )
        on_a_page = OPTION.sub(lambda found: OPTIONS.get(found[1], found[1].replace("-", " ")), act)
        if on_a_page not in said:
            said.append(on_a_page)
    return " ".join(said).strip()
