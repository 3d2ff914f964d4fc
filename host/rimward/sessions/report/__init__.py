"""Reports of fills: self-contained HTML and PDF, the history of a wheel, and the archive they are made from."""
