"""Depots played out from physics, and how well the rules of battery care read them.

``physics`` and ``reading`` and ``depot`` are frozen: they were written, and committed, before
any detector was tuned, and are not to be changed to suit one. ``bench_care`` measures.
"""
