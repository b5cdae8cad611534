"""The pages, a module each: `pages` is its blueprint."""
