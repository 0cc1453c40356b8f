"""A gauge trace as a shop hands it over: text of any layout to positions and heights."""
