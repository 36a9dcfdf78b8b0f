"""python -m patchnet."""

from patchnet.commands.main import main

main()
