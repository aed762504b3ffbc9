"""Footage → readings: one file for a notebook, a tournament's files by morning."""

from pipeline.overnight.engine import Engine, InThisProcess, LocalProcesses, open_engine
from pipeline.overnight.morning import Morning, last_summary
from pipeline.overnight.night import Order, make_plan, run_night
from pipeline.overnight.plan import Plan
from pipeline.overnight.reading import Reading, read_file, read_tracks
from pipeline.overnight.summary import Summary

__all__ = [
    "Engine",
    "InThisProcess",
    "LocalProcesses",
    "Morning",
    "Order",
    "Plan",
    "Reading",
    "Summary",
    "last_summary",
    "make_plan",
    "open_engine",
    "read_file",
    "read_tracks",
    "run_night",
]
