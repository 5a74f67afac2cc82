"""The drawings' elements, as the pages use them; they live with the sheets, which draw for paper as well."""

from mulchwright.sheets.drawing import Element, document, element, number, text, wrapped

__all__ = ["Element", "document", "element", "number", "text", "wrapped"]
