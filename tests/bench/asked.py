"""What the benches of planning can be asked: size and seed of an instance of the published generator."""

from __future__ import annotations

import argparse


def options(doc: str | None, *, seconds: float) -> argparse.ArgumentParser:
    """A parser with the instance and the seconds of a search; a bench adds its own."""
    parser = argparse.ArgumentParser(description=doc, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--objects", type=int, default=300)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--team", type=int, default=1)
    parser.add_argument("--seconds", type=float, default=seconds)
    return parser
