"""A DXF file as ezdxf (pinned in requirements.txt) opens it, and what its audit finds."""

import io
import logging

import ezdxf

logging.getLogger("ezdxf").setLevel(logging.CRITICAL)  # what it finds is asked for below


def opened(text):
    """The document, or nothing where it does not open, and what is wrong with it as lines of text: nothing may be, and
    nothing may need to be fixed."""
    try:
        doc = ezdxf.read(io.StringIO(text))
    except Exception as error:  # whatever ezdxf raises, the file is at fault
        return None, [f"does not open: {error!r}"]
    audit = doc.audit()
    wrong = [f"error: {error.message}" for error in audit.errors]
    wrong += [f"fix: {fix.message}" for fix in audit.fixes]
    if doc.header.get("$INSUNITS") != 4 or doc.header.get("$MEASUREMENT") != 1:
        wrong.append("not in millimetres")
    return doc, wrong
