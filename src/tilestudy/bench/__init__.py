"""The bench page: a small local web page for wet gloves, a tablet by the sink and students' phones, on the same study book.

`app` puts it together, `access` knows who is who, `guard` keeps strangers out, `serve` runs it; `pages` holds a module for each
page, which calls the same `Studio` methods as the commands.
"""
