"""Paper: one HTML document in, one PDF out, set by WeasyPrint in a process of its own."""

from gear.pdf.setting import Attachment, NotSet, pdf_from

__all__ = ["Attachment", "NotSet", "pdf_from"]
