"""Paper: one HTML document in, one PDF out, set by WeasyPrint in a process of its own."""

from gear.pdf.setting import NotSet, pdf_from

__all__ = ["NotSet", "pdf_from"]
