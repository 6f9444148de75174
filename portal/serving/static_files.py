"""How static files are stored where they carry a hash in their names."""

from whitenoise.storage import CompressedManifestStaticFilesStorage

_IMPORT = r"""(?P<matched>import(?P<names>\s*\{[^}]*\})\s*from\s*["'](?P<url>\.[^"']*)["'];)"""


class HashedStaticFiles(CompressedManifestStaticFilesStorage):  # type: ignore[misc]
    """Also rewrites what our scripts import of each other, so that no page mixes scripts of two versions.

    Only ours: Django's own switch for this reads the scripts of other people too, and stumbles over theirs.
    """

    patterns = (
        *CompressedManifestStaticFilesStorage.patterns,
        ("js/*.js", ((_IMPORT, 'import%(names)s from "%(url)s";'),)),
    )
