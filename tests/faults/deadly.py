"""Tasks for a district's workers, which import this by name: one that fails, ones that kill."""

import multiprocessing
import os
import signal
import time

from terrain.files import whole_folder
from terrain.outputs.district.site_plans import SitePlan, plan_site


def odd(number):
    """Its number, and whether it runs in a daemon; 1 fails, 3 kills its worker."""
    if number == 1:
        raise ValueError("one is wrong")
    if number == 3:
        os.kill(os.getpid(), signal.SIGKILL)
    return number, multiprocessing.current_process().daemon


def slow_again(folder):
    """The number of its process, at once; begun anew, it takes seconds, and says when it ends."""
    try:
        (folder / "first").touch(exist_ok=False)
    except FileExistsError:
        (folder / "begun again").touch()
        time.sleep(3)
        (folder / "ended again").touch()
    return os.getpid()


def quick(path, folder):
    """As `plan_site`, of a plan that is one small file; the site "deadly" kills its worker."""
    if path.parent.name == "deadly":
        os.kill(os.getpid(), signal.SIGKILL)
    if path.parent.name == "wrong":
        return plan_site(path, folder)
    with whole_folder(folder) as draft:
        (draft / "plan.json").write_text("{}")
    return SitePlan(path, "Small valley", folder)
