"""The grower's report: print layouts that show what a field call found, as a PDF."""
