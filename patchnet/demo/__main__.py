"""``python -m patchnet.demo FOLDER`` writes the invented neighbourhood's files."""

import sys

from patchnet.core.texts import N_
from patchnet.demo.files import write_demo

if __name__ == "__main__":
    if len(sys.argv) != 2:
        sys.exit(N_("usage: python -m patchnet.demo FOLDER"))
    write_demo(sys.argv[1])
