"""The languages of the pages. English is what templates and program say; any other is read from ``<language>.po``.

``template_texts`` finds the messages of a template and puts translations into it before it is compiled;
``program_texts`` finds those of the program; ``sentences`` takes finished English sentences apart by them, and tells
them in the other language; ``catalogue`` reads the file of a language, ``gathering`` keeps it in step with the sources.
"""
