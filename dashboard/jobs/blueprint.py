"""The blueprint that every page for a job registers itself with."""
from flask import Blueprint

jobs = Blueprint("jobs", "dashboard.jobs")
