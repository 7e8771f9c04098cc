"""A template that was first read in one unit tells the next page in another."""

from fastapi import FastAPI

from server.web.render import environment


def test_words_of_constants_are_not_kept_from_the_first_reader(app: FastAPI) -> None:
    settings = app.state.settings
    made = environment(settings.templates_dir, app.state.static_files)
    assert made.optimized is False
