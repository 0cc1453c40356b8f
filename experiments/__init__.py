"""Experiments: check the request, map cases over workers, store, compare, draw, explain."""
