"""Static files under names that carry their content, so that a browser never mixes two releases."""

from whitenoise.storage import CompressedManifestStaticFilesStorage


class HashedFiles(CompressedManifestStaticFilesStorage):
    """Before collectstatic has run, files go by their plain names: a fresh clone serves its pages at once."""

    # `import` lines of JavaScript modules get the hashed names as well.
    support_js_module_import_aggregation = True

    def stored_name(self, name: str) -> str:
        return self.hashed_files.get(self.hash_key(self.clean_name(name)), name)
