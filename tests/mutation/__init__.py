"""Does a wrong threshold, sign or number in the code that judges fail a test: python -m tests.mutation"""
