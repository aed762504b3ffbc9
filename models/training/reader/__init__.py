"""Training of the pair reader: one network that reads both athletes, one that finds them.

``python -m models.training.reader --help`` lists the steps. Needs the ``training`` extra.
"""
