"""Tests: the folders mirror gradation/; see DEVELOPERS.md for what goes where."""
