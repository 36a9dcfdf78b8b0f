"""The installed program made to do a little of everything, in an empty folder.

    python -I smoke.py            what `tests/floors/run.py` runs with the Python it tests

It is given nothing but the installed package: the source tree is away. Prints one line a command;
the exit status is 0 if each ended as it should.
"""

import contextlib
import csv
import io
import os
import socket
import subprocess
import sys
import warnings
from pathlib import Path

COMMANDS = """
0 demo -o town
0 check town
0 base --parcels town/plots.geojson --buildings town/buildings.geojson --roads town/roads.geojson -o street.gpkg
0 base town.osm.pbf --street "Elm Road" -o elm.gpkg
0 survey street.gpkg -o pack
0 merge street.gpkg sheet.csv --same-street -o street.gpkg
0 merge street.gpkg sheet.xlsx --same-street -o street.gpkg
0 consent street.gpkg {plot} yes
0 history street.gpkg
0 verify street.gpkg
0 undo street.gpkg
0 forget street.gpkg {plot}
0 base --parcels town/plots.geojson --roads town/roads.geojson --earlier street.gpkg -o street.gpkg --overwrite
0 verify street.gpkg
0 progress street.gpkg -o progress.html
0 map town --group wren --no-additions -o map.html
0 merge town -o town.gpkg
0 map town.gpkg --group wren --for public -o public.html
0 poster town.gpkg --group wren --notice -o notice.png
0 export town --group hedgehog -o out.gpkg
0 export town --group wren --straight -o out.geojson
0 export town --group wren --straight -o out.csv
0 export town --group wren --straight -o out.graphml
0 routes town --group hedgehog --from M15B --to M17B -o routes.gpkg --ground cost.tif --current flow.tif
0 gaps town --group hedgehog --most 1
0 advise town M15B --group wren --straight --card card.html
0 scheme town --road "Wickthorn Street" --planters 1 --group bumblebee --side left -o scheme
0 compare town town --group wren --straight --page change.html
0 tables features -o own
0 source groups/wren
1 check damaged.gpkg
"""  # noqa: E501 - one line a command
STEP = 0.0001


def extract(path):
    """Write a road with six addressed houses."""
    import osmium  # noqa: PLC0415 - after the network is away
    from osmium.osm.mutable import Node, Way  # noqa: PLC0415

    corners = ((0, 0), (1, 0), (1, 1), (0, 1))
    nodes = [Node(id=1, location=(-1.0 - STEP, 52.0)), Node(id=2, location=(-1 + 12 * STEP, 52.0))]
    ways = [Way(id=1, nodes=[1, 2], tags={"highway": "residential", "name": "Elm Road"})]
    for at in range(6):
        ring = []
        for x, y in corners:
            place = (-1.0 + STEP * (2 * at + x), 52.0 + STEP * (1 + y))
            nodes.append(Node(id=len(nodes) + 1, location=place))
            ring.append(len(nodes))
        tags = {"building": "house", "addr:street": "Elm Road", "addr:housenumber": str(at + 1)}
        ways.append(Way(id=at + 2, nodes=[*ring, ring[0]], tags=tags))
    with contextlib.closing(osmium.SimpleWriter(str(path))) as out:
        for node in nodes:
            out.add_node(node)
        for way in ways:
            out.add_way(way)


def sheets():
    """Write a filled-in sheet as CSV and as a workbook; return the plot that it tells of."""
    import pyogrio  # noqa: PLC0415
    from openpyxl import Workbook  # noqa: PLC0415

    plots = pyogrio.read_dataframe("street.gpkg", layer="plots")
    plot = str(plots["id"].iloc[0])
    rows = [["plot", "feature", "answer", "amount", "surveyor", "date"],
            [plot, "pond", "there", "2", "Ann", "2026-05-02"]]  # fmt: skip
    with Path("sheet.csv").open("w", newline="", encoding="utf-8") as file:
        csv.writer(file).writerows(rows)
    book = Workbook()
    for row in [rows[0], [plot, "shrub", "not there", None, "Bob", "2026-05-02"]]:
        book.active.append(row)
    book.save("sheet.xlsx")
    return plot


def no_network(connect):
    """Stand in for a connection: there is none but to processes of this computer."""

    def connected(self, address):
        if self.family == getattr(socket, "AF_UNIX", None):
            return connect(self, address)
        raise OSError("there is no network here")

    return connected


def main():
    """Run all commands in this process, which has no network."""
    import shlex  # noqa: PLC0415

    import patchnet  # noqa: PLC0415
    from patchnet.commands.main import _run  # noqa: PLC0415

    socket.socket.connect = no_network(socket.socket.connect)
    place = Path(patchnet.__file__).resolve()
    print(f"patchnet from {place.parent}")
    said = subprocess.run(
        [Path(sys.executable).with_name("patchnet"), "--version"], capture_output=True, text=True,
        check=True,
    )  # fmt: skip
    print(said.stdout.strip())
    for folder in (place.parent, Path.home()):
        try:
            (folder / "written").write_text("x")
        except OSError:
            print(f"cannot be written to: {'the package' if folder == place.parent else 'HOME'}")
        else:
            (folder / "written").unlink()
            print(f"CAN be written to: {folder}")
    extract(Path("town.osm.pbf"))
    Path("damaged.gpkg").write_bytes(b"SQLite format 3\0" + b"x" * 5000)
    plot, wrong = "", 0
    for line in COMMANDS.strip().splitlines():
        wanted, _, words = line.partition(" ")
        out = io.StringIO()
        with (
            contextlib.redirect_stdout(out),
            contextlib.redirect_stderr(out),
            warnings.catch_warnings(),
        ):
            warnings.simplefilter("ignore")  # as the command line does
            status = _run(shlex.split(words.format(plot=plot)))
        if words.startswith("base --parcels") and not plot:
            plot = sheets()
        well = status == int(wanted) or (wanted == "1" and status == 3)
        wrong += not well
        print(f"{'well ' if well else 'WRONG'} {words}", flush=True)
        if not well:
            print(out.getvalue()[-1500:])
    print(f"{wrong} wrong")
    sys.stdout.flush()
    os._exit(bool(wrong))


if __name__ == "__main__":
    main()
