"""Pages, pictures and the workbook of a run: its tables in, HTML, SVG and XLSX out.

`gathering` takes from a run what the pages tell, `page` is the report for people who decide, `site` the page of one site,
`charts/` draws the pictures, `workbook` fills a workbook, `writing` puts the files where they belong.
"""

from screener.report.writing import page_of, write, write_site

__all__ = ["page_of", "write", "write_site"]
