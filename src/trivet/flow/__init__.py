"""The spine: one chain of stages over a project folder, and what runs it.

It alone joins stages, files and pages.
"""
