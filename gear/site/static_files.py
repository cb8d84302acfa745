"""Static files under names that carry their content, so that a browser never mixes two releases."""

from whitenoise.storage import CompressedManifestStaticFilesStorage


class HashedFiles(CompressedManifestStaticFilesStorage):
    """Rewrites `import` lines of JavaScript modules to the hashed names as well."""

    support_js_module_import_aggregation = True
