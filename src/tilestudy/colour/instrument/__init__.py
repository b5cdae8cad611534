"""Files that colour instruments write, as text, to samples with their L*a*b*: nothing is guessed that the file can say.

From the ground up: `words` (what a heading or keyword means), `block` (a table with what stood above it), `separated`
(CSV and its kin to blocks), `cgats` (CGATS text, ISO 28178, to blocks), `columns` (which columns of a block to take, and
under which light), `values` (a row's numbers to L*a*b*), `read` (blocks to samples, gathering faults). Shapes are known
by what they contain, never by who made the instrument. Pure: text in, samples and faults out.
"""

from tilestudy.colour.instrument.read import InstrumentReading, Sample, is_instrument_file, read_instrument
from tilestudy.colour.instrument.words import Conditions

__all__ = ["Conditions", "InstrumentReading", "Sample", "is_instrument_file", "read_instrument"]
