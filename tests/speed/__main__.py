"""Every benchmark, side by side with a bare script or a peer: `python -m tests.speed [PART...]`.

Parts: start, judge, compare, growth, estimate, plan, sitting, stream. Without any: all but `growth`, whose
largest scan has 8.4 million readings and wants some minutes and 2 GB. Ratios are what counts: seconds are one
machine's.
"""

from __future__ import annotations

import sys
from collections.abc import Callable

from tests.speed import estimate, judge, plan, sitting, start, stream

PARTS: dict[str, Callable[[], None]] = {
    "start": start.main,
    "judge": judge.main,
    "compare": judge.compare,
    "growth": judge.growth,
    "estimate": estimate.main,
    "plan": plan.main,
    "sitting": sitting.main,
    "stream": stream.main,
}


def main(parts: list[str]) -> int:
    """Run the parts named."""
    unknown = [part for part in parts if part not in PARTS]
    if unknown:
        print(f"no such part: {', '.join(unknown)}; there are {', '.join(PARTS)}", file=sys.stderr)
        return 2
    del sys.argv[1:]  # a part by itself has arguments of its own
    for part in parts or [name for name in PARTS if name != "growth"]:
        PARTS[part]()
        print(flush=True)
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
