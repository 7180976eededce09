"""What runs in the worker process. Answers are plain data (text, numbers, bytes), so the server needs no numeric library."""
