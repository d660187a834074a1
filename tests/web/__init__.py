"""The pages, asked without a browser."""
