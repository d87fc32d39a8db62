"""Sphinx settings of the guide: the plain theme, nothing fetched from anywhere."""

from importlib.metadata import version as _version

project = "domemargin"
author = "the domemargin authors"
version = release = _version("domemargin")
extensions = ["myst_parser", "sphinx.ext.autodoc"]
source_suffix = {".md": "markdown"}
myst_heading_anchors = 3
smartquotes = False  # options keep their two hyphens
default_role = "code"
autodoc_typehints = "signature"
autodoc_member_order = "bysource"
autodoc_class_signature = "separated"
python_use_unqualified_type_names = True
add_module_names = False
html_theme = "alabaster"
html_title = "domemargin guide"
html_show_sourcelink = False
html_show_sphinx = False
html_copy_source = False
html_sidebars = {"**": ["about.html", "searchbox.html", "navigation.html"]}
html_theme_options = {
    "description": "Reversal pressure and margin of can bottoms",
    "fixed_sidebar": True,
    "show_powered_by": False,
    "page_width": "1180px",
    "sidebar_width": "270px",
    "font_family": "system-ui, sans-serif",
    "head_font_family": "system-ui, sans-serif",
    "font_size": "16px",
    "code_font_size": "14px",
}
