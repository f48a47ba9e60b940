"""How the documentation is built: `make docs`. Nothing here is fetched from anywhere."""

from __future__ import annotations

import sys
from importlib.metadata import version as version_of
from pathlib import Path
from typing import TYPE_CHECKING

from docutils import nodes

if TYPE_CHECKING:
    from sphinx.application import Sphinx

sys.path.insert(0, str(Path(__file__).parent))
import reference_from_code

project = "pullbook"
author = "The pullbook developers"
project_copyright = author
release = version_of("pullbook")
version = release

extensions = ["myst_parser", "sphinx.ext.autodoc", "sphinx.ext.napoleon"]
myst_enable_extensions = ["colon_fence"]
myst_heading_anchors = 3
exclude_patterns = ["_build"]
autodoc_member_order = "bysource"
autodoc_typehints = "signature"
autodoc_class_signature = "separated"
napoleon_google_docstring = False
napoleon_use_rtype = False
# Types of other libraries, and those that stay inside ours, have no page here.
nitpick_ignore_regex = [("py:.*", ".*")]
smartquotes = False  # two hyphens begin an option
pygments_style = "friendly"
html_theme = "furo"
html_title = f"pullbook {release}"
html_static_path = ["_static"]
html_css_files = ["wide-tables.css"]
html_copy_source = False
html_show_sourcelink = False


def _fill(_app: Sphinx, _name: str, source: list[str]) -> None:
    """Put what the code tells into a page, at `<!-- from code: ... -->`."""
    source[0] = reference_from_code.filled(source[0])


def _dashes(_app: Sphinx, page: nodes.document, _name: str) -> None:
    """Put a dash between a parameter and its words, which autodoc leaves to the quotes above."""
    for text in list(page.findall(nodes.Text)):
        if text == " -- ":
            text.parent.replace(text, nodes.Text(" \N{EN DASH} "))


def setup(app: Sphinx) -> None:
    """Connect the generator of the reference pages."""
    app.connect("source-read", _fill)
    app.connect("doctree-resolved", _dashes)
