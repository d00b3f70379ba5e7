"""A long call into another library, during which the caller still looks for a cancel."""
from threading import Event, Thread

LOOK_S = 0.1  # between two looks; a user should wait for at most 0.2 s


def long_call(work, tick=None, fraction=0.0):
    """Return what `work()` returns, and call `tick` every LOOK_S seconds until it does.

    For what cannot be cut in pieces: a search tree, a sort, a picture. Work runs in a thread of
    its own and tick in that of the caller, which looks at least once, before the work begins.
    Without a tick, work runs in the caller's thread.

    No thread can be ended from outside. Where tick raises, the work runs to its end by itself and
    what it made is dropped; so it must write no file, change nothing that the caller holds, and
    use nothing that belongs to one thread, such as layers, layouts and open files of GDAL. It must
    let other threads run meanwhile, as numpy and scipy do in their longer routines.

    Parameters
        work      function without arguments
        tick      called with `fraction`; may raise Stopped
        fraction  of all that the caller does, done before
    Raises    whatever work or tick raises
    """
    if tick is None:
        return work()
    tick(fraction)
    ended, returned, raised = Event(), [], []

    def run():
        try:
            returned.append(work())
        except BaseException as error:  # noqa: BLE001 - carried over to the caller
            raised.append(error)
        finally:
            ended.set()

    thread = Thread(target=run, name="spadework long call")
    thread.start()
    while not ended.wait(LOOK_S):
        tick(fraction)
    thread.join()
    if raised:
        raise raised[0]
    return returned[0]
