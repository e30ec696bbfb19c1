"""Drawings of the pages as SVG, from numbers: in the page's own colours, at the size they are looked at."""
