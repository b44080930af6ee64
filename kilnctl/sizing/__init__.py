"""How hot will it get, how fast, where do the watts go, what will the outside feel like: answers before anything is
bought."""

from .buying import Saving
from .sizing import LayerReport, Sizing, layer_problems, size

__all__ = ["LayerReport", "Saving", "Sizing", "layer_problems", "size"]
