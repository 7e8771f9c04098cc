"""What the science answers when an input makes no sense."""


class InputError(ValueError):
    """An input that cannot be calculated with.

    ``path`` leads to the field, dotted (``mixes.0.paints.1.oil``); ``message`` says in plain words what is wrong.
    """

    def __init__(self, path: str, message: str) -> None:
        super().__init__(f"{path}: {message}")
        self.path = path
        self.message = message

    def under(self, prefix: str) -> "InputError":
        """The same fault with its path seen from further out."""
        return InputError(f"{prefix}.{self.path}" if self.path else prefix, self.message)
