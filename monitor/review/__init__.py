"""After the film is dry: journals to tables, measures, comparison, pages. numpy and pandas live only here."""
