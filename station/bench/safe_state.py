"""The safe state of the bench: fixed order, every step tried, every failure told."""

from collections.abc import Callable, Sequence

Step = tuple[str, Callable[[], None]]


def reach_safe_state(steps: Sequence[Step]) -> list[str]:
    """Carry out all `steps` in order and return what went wrong, one sentence each; empty when all is safe.

    No failure stops the steps after it, Ctrl-C included: that is raised again once all were tried.
    """
    failures: list[str] = []
    interruption: KeyboardInterrupt | None = None
    for name, step in steps:
        try:
            step()
        except KeyboardInterrupt as pressed:
            interruption = pressed
            failures += _again(name, step)
        except Exception as error:  # whatever it is, the next step must be tried
            failures.append(f"{name}: {error}")
    if interruption is not None:
        raise interruption
    return failures


def _again(name: str, step: Callable[[], None]) -> list[str]:
    # An interrupted step may have stopped half way, and all of them are safe to repeat.
    try:
        step()
    except Exception as error:
        return [f"{name}: {error}"]
    return []
