"""The layers around every request, each one module whose docstring says which threat it answers."""
