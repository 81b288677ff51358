"""The damage laboratory: labels of ours, aged and photographed, with the truth about each.

One integer seed makes one scene. ``labels`` prints (our own PDF, rendered), ``ageing`` takes
the print away, ``severity`` says how much and steers it, ``clutter`` draws what hangs around,
``camera`` takes the picture, ``scenes`` puts them together, ``peers`` reads, ``curve`` counts.
Run by hand: ``python -m tests.bench.damage.curve --help``.
"""
