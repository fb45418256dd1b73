"""Coldleg to the outside: the command line and HTTP around the expert in ``rules``."""
