"""Pictures once they exist: fetched, stored, measured."""
