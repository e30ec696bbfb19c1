"""Array types; shape and unit of each stand in the docstring of the function that uses it."""

from typing import Any

from numpy.typing import NDArray

Array = NDArray[Any]
