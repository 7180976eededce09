"""The browser app: presentation only, edits the job file and calls the pipeline."""
