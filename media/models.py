from media.base.models import Event, Job, Role, User
from media.photographs.db.models import Photograph

__all__ = ["Event", "Job", "Photograph", "Role", "User"]
