"""Benchmarks: printed figures and ratios, never tests. Run: python -m tests.benchmarks"""
