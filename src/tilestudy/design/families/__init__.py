"""The textbook families of plans, as pure functions: one module each, its source in its first lines."""

from tilestudy.design.families.arrays import array_tile_counts, orthogonal_array
from tilestudy.design.families.box_behnken import box_behnken
from tilestudy.design.families.candidates import Candidate, candidates
from tilestudy.design.families.composite import block_alpha, central_composite, orthogonal_alpha, rotatable_alpha
from tilestudy.design.families.definitive import conference_matrix, definitive_screening
from tilestudy.design.families.family import Alias, Effect, Family, Floats, Word
from tilestudy.design.families.fraction import fold_over, fraction, fraction_of_resolution, from_generators, tile_counts
from tilestudy.design.families.full import Forbidden, constrained_grid, full_factorial, two_level_factorial
from tilestudy.design.families.screening import plackett_burman, screening, screening_tile_counts
from tilestudy.design.families.settings import setting, settings_of
from tilestudy.design.families.wording import aliases_in_words

__all__ = [
    "Alias",
    "Candidate",
    "Effect",
    "Family",
    "Floats",
    "Forbidden",
    "Word",
    "aliases_in_words",
    "array_tile_counts",
    "block_alpha",
    "box_behnken",
    "candidates",
    "central_composite",
    "conference_matrix",
    "constrained_grid",
    "definitive_screening",
    "fold_over",
    "fraction",
    "fraction_of_resolution",
    "from_generators",
    "full_factorial",
    "orthogonal_alpha",
    "orthogonal_array",
    "plackett_burman",
    "rotatable_alpha",
    "screening",
    "screening_tile_counts",
    "setting",
    "settings_of",
    "tile_counts",
    "two_level_factorial",
]
