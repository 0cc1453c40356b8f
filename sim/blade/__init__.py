"""The steel: longitudinal curve, recipe, cross-section, stock."""
