"""Positions put together from parts: bases, legs, trunks, heads and arms that combine."""

from .drawing import compose, composed, recipes
from .language import Part, Recipe, Slot, read_recipes

__all__ = ["Part", "Recipe", "Slot", "compose", "composed", "read_recipes", "recipes"]
