"""The one door to the whole program for the command line: a job in, files as bytes out."""
