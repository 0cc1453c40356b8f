"""Rigid bodies on the patch: the engine, the step loop, the scenarios."""
