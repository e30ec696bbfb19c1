"""The documentation as a site: ``make docs``."""

import heavyspot

project = "Heavyspot"
author = "The people of Heavyspot"
release = heavyspot.__version__

extensions = [
    "myst_parser",
    "sphinx.ext.autodoc",
    "sphinx.ext.autosummary",
    "sphinx.ext.napoleon",
]
exclude_patterns = ["_site"]
html_theme = "alabaster"
html_theme_options = {"description": "Where to grind, how deep, and what the next run will look like"}
html_show_sphinx = False

myst_heading_anchors = 3  # links to headings, as a reader of the files follows them
autosummary_generate = True
autosummary_imported_members = True
autodoc_typehints = "description"
autodoc_member_order = "bysource"
napoleon_google_docstring = False
suppress_warnings = ["ref.python"]  # a shape "(channels, points)" is no link to an attribute of that name
