"""Judging: pure functions from arrays of draws to a verdict, a menu, an order, a statement, a measurement to make.

No file, no config, no command below here. Opinions come in as one frozen object (request/opinions). Gains are written
in log2 and point the better way: +1 is twice as good, -1 half as good, nan is a draw in which a blade failed. All rates
hold inside the model only.
"""
