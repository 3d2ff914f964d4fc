"""Paper: sheets of text as PDF, and pages drawn alike as SVG, PDF and PNG, with the font inside."""
