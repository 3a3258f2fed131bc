"""After the film is dry: journals to tables, measures, figures, report. pandas and matplotlib live only here."""
