"""The commands: read arguments, call, print, exit status."""
