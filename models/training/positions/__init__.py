"""Trains and judges the position model on bouts whose truth is known."""
