"""Python for analysts: recordings and a shop's runs as iterators, frames and pictures. Reads; writes nothing.

What is not ours (pandas, polars, xarray, matplotlib) is used where it is installed, and named where it is not.
"""
