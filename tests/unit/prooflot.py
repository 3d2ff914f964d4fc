"""Rows of drawn proof tests and their analysis. Shared by the tests of the analysis."""

import json

from rimward.proof.analyse import analyse
from rimward.proof.bounds import Ask
from rimward.proof.load import parse

HEAD = "sample,release_bar,limit_bar,released"
TEN = [8.1, 8.4, 8.6, 7.9, 8.8, 8.3, 8.5, 8.2, 8.7, 8.0]


def run(rows, head=HEAD, ask=None, effects=()):
    found = analyse(parse("\n".join([head, *rows]), "a.csv"), ask or Ask(), effects)
    json.dumps(found, allow_nan=False)
    return found


def released(values, limit=5, extra=""):
    return [f"S{i},{value},{limit},yes{extra}" for i, value in enumerate(values)]


def warnings(found):
    return [warning["id"] for warning in found["warnings"]]
