"""A document as a PDF file. typst is used nowhere else."""

from benchsweep.report.pdf._pdf import pdf_bytes, write_pdf

__all__ = ["pdf_bytes", "write_pdf"]
