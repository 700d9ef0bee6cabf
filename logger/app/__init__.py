"""Pieces that the command line puts together."""
