"""The guide: pages, worked examples that run, and the site built from both.

`python -m domemargin.studies.guide` runs all examples and builds the site; with the name of an
example it runs that one.
"""
