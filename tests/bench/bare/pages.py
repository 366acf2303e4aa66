"""Beside ``ragleaf restore`` of PDF pages: they are rendered, and their symbols read."""

import sys

import click  # noqa: F401 - the same libraries
import pypdfium2
import zxingcpp


def main():
    """Print how many symbols are on the pages of the PDF that is named."""
    formats = zxingcpp.BarcodeFormats(zxingcpp.BarcodeFormat.QRCode)
    count = 0
    with pypdfium2.PdfDocument(sys.argv[1]) as document:
        for page in document:
            picture = page.render(scale=300 / 72, grayscale=True).to_pil()
            count += len(zxingcpp.read_barcodes(picture, formats=formats))
    print(count)


if __name__ == "__main__":
    main()
