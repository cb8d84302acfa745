"""What a web server of the WSGI kind is pointed at: `gunicorn gear.site.wsgi`."""

import os

from django.core.wsgi import get_wsgi_application

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "gear.site.settings")
application = get_wsgi_application()
