"""The local web page where a human corrects what was read; start with `serve`."""

from pipeline.review.app import create_app
from pipeline.review.server import serve

__all__ = ["create_app", "serve"]
