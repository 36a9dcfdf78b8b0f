"""Base maps: from open data about buildings, streets and parcels to a street of numbered plots.

`make_base` puts one together, `write_base` writes it as a file that `read_neighbourhood` reads.
"""

from patchnet.base.kept_survey import keep_survey
from patchnet.base.make import BaseMap, make_base
from patchnet.base.summary import summary_of
from patchnet.base.write import BASE_LAYERS, write_base

__all__ = ["BASE_LAYERS", "BaseMap", "keep_survey", "make_base", "summary_of", "write_base"]
