"""A user's own land-cover raster, read onto the grid as cost per metre."""

import math
import warnings
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from patchnet.core.errors import CannotRead, DataFaults, WrongUse
from patchnet.core.fault_list import FaultList
from patchnet.core.faults import Fault
from patchnet.core.numbers import parse_number
from patchnet.core.raster_cells import at_centres
from patchnet.core.reader_child import read_in_child
from patchnet.core.table import read_sheets, table_of
from patchnet.core.texts import _
from patchnet.movement.ground_grid import Grid

__all__ = ["LandCover", "no_data", "read_class_costs", "read_land_cover", "unreadable"]

_COLUMNS = ("class", "cost")
_CLOSED_WORDS = ("closed", "impassable", "inf")
_FEW = 12  # classes named in a message


@dataclass(frozen=True, slots=True)
class LandCover:
    """A raster of land-cover classes and what a metre over each of them costs.

    Attributes
    ----------
    path
        Any raster that GDAL reads, in any CRS, of whole numbers.
    costs
        Cost per metre of each class, in metres of the best ground; inf: nothing gets through.
    band
        Which band, counted from 1.

    Examples
    --------
    >>> import patchnet
    >>> patchnet.LandCover("town.tif", {1: 1.0, 2: float("inf")}).band
    1
    """

    path: Path | str
    costs: Mapping[int, float]
    band: int = 1


def read_class_costs(path: Path | str, faults: FaultList | None = None) -> dict[int, float]:
    r"""Read a table of land-cover classes: CSV or xlsx with the columns ``class`` and ``cost``.

    A cost is a number above 0, or the word ``closed``. Other columns are ignored.

    Parameters
    ----------
    path
        The file.
    faults
        List that warnings are added to, such as an encoding that was assumed.

    Returns
    -------
    dict
        Class -> cost per metre, in metres of the best ground; inf: closed.

    Raises
    ------
    CannotRead
        If the file is missing or is not a table.
    DataFaults
        If columns are missing or cells cannot be read: all faults at once.

    Examples
    --------
    >>> import patchnet
    >>> from pathlib import Path
    >>> _ = Path("costs.csv").write_text("class,cost\n1,1.5\n2,closed\n")
    >>> patchnet.read_class_costs("costs.csv")
    {1: 1.5, 2: inf}
    """
    where = str(path)
    faults = FaultList() if faults is None else faults
    sheets = read_sheets(Path(path), faults, known=_COLUMNS)
    table = table_of(sheets, where, faults, known=_COLUMNS)
    missing = [name for name in _COLUMNS if table.column_of((name,)) is None]
    if missing:
        what = _("Missing column: {missing}.").format(missing=", ".join(missing))
        mend = _("The heading must name the columns class and cost.")
        faults.error(where, what, mend, row=table.head)
        raise DataFaults(faults.faults)
    costs: dict[int, float] = {}
    for row, cells in table.records():
        number, cost = cells["class"], cells["cost"]
        if not number and not cost:
            continue
        read = _class_cost(number, cost)
        if read is None:
            what = _("'{number}' with the cost '{cost}' is not a class and a cost.").format(
                number=number, cost=cost
            )
            mend = _("Write a whole number, and a cost above 0 or the word closed.")
            faults.error(where, what, mend, row=row, ident=number)
        elif read[0] in costs:
            what = _("The class {read} stands there twice.").format(read=read[0])
            faults.error(where, what, _("Keep one."), row=row, ident=number)
        else:
            costs[read[0]] = read[1]
    if not costs and not faults.errors:
        faults.error(where, _("There are no classes."), _("Write one line for each class."))
    if faults.errors:
        raise DataFaults(faults.faults)
    return costs


def _class_cost(number: str, cost: str) -> tuple[int, float] | None:
    try:
        key = int(number)
    except ValueError:
        return None
    value = math.inf if cost.casefold() in _CLOSED_WORDS else parse_number(cost)
    return (key, value) if value is not None and value > 0 else None


def read_land_cover(cover: LandCover, grid: Grid, *, partly: bool = False) -> NDArray[np.float32]:
    """Read a raster of classes onto the grid, as cost per metre.

    Each cell takes the class at its centre. Only the part of the raster that the grid needs is
    read. Cells outside the raster, without data or masked come back as NaN.

    Parameters
    ----------
    cover
        The file, and what each class costs.
    grid
        The cells that are asked for.
    partly
        Whether they are a part of the ground, in which the raster may hold nothing.

    Returns
    -------
    array
        Shape of the grid; inf: closed; NaN: no data.

    Raises
    ------
    CannotRead
        If the file is missing or is not a raster.
    WrongUse
        If the raster has no such band, or a cost is not above 0.
    DataFaults
        If it has no place on the map, does not overlap the ground, holds no data there, holds
        numbers that are not whole, or classes that no cost is given for.
    """
    bad = sorted(key for key, cost in cover.costs.items() if not cost > 0)
    if bad:
        raise WrongUse(_("The cost of class {bad} must be above 0.").format(bad=bad[0]))
    values, known = read_in_child(_numbers, Path(cover.path), cover, grid)
    if not known.any():
        if partly:
            return np.full(grid.shape, np.nan, np.float32)
        raise no_data(cover)
    if (values[known] % 1 != 0).any():
        what = _("The raster holds numbers that are not whole, so they are not classes.")
        raise _fault(cover, what, _("Give a raster of land-cover classes, with a cost for each."))
    classes, at = np.unique(values[known], return_inverse=True)
    unknown = [int(number) for number in classes if int(number) not in cover.costs]
    if unknown:
        named = ", ".join(map(str, unknown[:_FEW])) + (", ..." if len(unknown) > _FEW else "")
        raise _fault(
            cover,
            _("There is no cost for these classes: {named}.").format(named=named),
            _("Add them."),
        )
    cost = np.full(grid.shape, np.nan, np.float32)
    cost[known] = np.array([cover.costs[int(number)] for number in classes], np.float32)[at]
    return cost


def unreadable(path: Path) -> CannotRead:
    """Return what is said of a file that is no raster.

    Parameters
    ----------
    path
        The file.
    """
    return CannotRead(
        _("{path} cannot be read as a raster: it is missing, damaged, or of another kind.").format(
            path=path
        )
    )


def no_data(cover: LandCover) -> DataFaults:
    """Return what is said of a raster that holds nothing where the plots are.

    Parameters
    ----------
    cover
        The raster.
    """
    what = _("The raster holds no data where the plots are.")
    return _fault(cover, what, _("Look whether it is of the right place and CRS."))


def _numbers(
    path: Path, cover: LandCover, grid: Grid
) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
    from rasterio.errors import RasterioError

    try:
        return _numbers_of(cover, grid)
    except (RasterioError, OSError) as error:
        raise unreadable(path) from error


def _numbers_of(cover: LandCover, grid: Grid) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
    import rasterio
    from rasterio.errors import NotGeoreferencedWarning

    with warnings.catch_warnings():
        # Said below as a fault of the user's file.
        warnings.simplefilter("ignore", NotGeoreferencedWarning)
        with rasterio.open(cover.path) as raster:
            if not 1 <= cover.band <= raster.count:
                raise WrongUse(
                    _("{path} has {count} bands, so there is no band {band}.").format(
                        path=cover.path, count=raster.count, band=cover.band
                    )
                )
            if raster.crs is None or raster.transform.is_identity:
                what = _("The raster does not say where it lies (coordinate system or corner).")
                raise _fault(cover, what, _("Save it with its georeference, as a GeoTIFF."))
            if np.dtype(raster.dtypes[cover.band - 1]).kind not in "iuf":
                what = _("The raster holds complex numbers, so they are not classes.")
                raise _fault(cover, what, _("Give a raster of land-cover classes."))
            values = at_centres(
                raster,
                grid.crs,
                (grid.west, grid.north),
                grid.cell_m,
                grid.shape,
                band=cover.band,
            )
    return values, ~np.isnan(values)


def _fault(cover: LandCover, what: str, mend: str) -> DataFaults:
    return DataFaults([Fault("error", str(cover.path), None, None, what, mend)])
