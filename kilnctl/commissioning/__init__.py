"""The learning run: a planned experiment under the same rules as any run."""
