"""The question from standard input, and the answer to standard output: see bridge.rs."""

import json
import sys


def asked():
    """The question as Python's own lists, dictionaries and floats."""
    return json.load(sys.stdin)


def answer(**lists):
    """Writes lists of numbers (or single numbers), each number as its repr."""
    written = {}
    for name, values in lists.items():
        if not hasattr(values, "__len__"):
            values = [values]
        written[name] = [repr(float(value)) for value in values]
    json.dump(written, sys.stdout)
