"""The field's door: its pages are in the modules beside this one."""

from __future__ import annotations

from flask import Blueprint

door = Blueprint("field", __name__, template_folder="templates")
