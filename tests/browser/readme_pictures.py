"""Make the pictures of the README out of those that the browser's suite has left: cut, small, in few colours.

    STATION_PICTURES=FOLDER tests/run tests/browser && .venv/bin/python tests/browser/readme_pictures.py FOLDER
"""

import sys
from pathlib import Path

from PIL import Image

WIDTH, COLOURS = 720, 64
# What the suite calls a picture, what the README calls it, and how much of its height is shown, in widths.
CHOSEN = (("panel-pass", "panel", 0.50), ("panel-fail", "panel_fail", 0.56),
          ("engineer-tests-CP40-0102-1", "one_test", 0.95), ("studies-one", "study", 1.25),
          ("limits-what-if-1280", "what_if", 0.80))


def main(left):
    """Write each picture beside this file."""
    for taken, name, share in CHOSEN:
        with Image.open(Path(left) / f"{taken}.png") as whole:
            seen = whole.convert("RGB").crop((0, 0, whole.width, min(whole.height, round(share * whole.width))))
        small = seen.resize((WIDTH, round(seen.height * WIDTH / seen.width)), Image.Resampling.LANCZOS)
        few = small.quantize(COLOURS, Image.Quantize.MAXCOVERAGE)      # which keeps the colours of small areas
        few.save(Path(__file__).with_name("pictures") / f"{name}.png", optimize=True)


if __name__ == "__main__":
    main(sys.argv[1])
