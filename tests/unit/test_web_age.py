"""Age of shown values: never younger than the time since it came, older by what the cable and the inflator's queue took."""

from rimward.web.age import Ages


def test_an_age_counts_from_the_asking_and_never_less_than_from_the_coming() -> None:
    now = [100.0]
    ages = Ages(lambda: now[0])
    assert ages.sample_s() is None and ages.state_s() is None
    now[0] = 100.3
    ages.status(5_000, "filling", 100.0)  # asked at 100.0, came at 100.3: up to 0.3 s old
    assert abs(ages.state_s() - 0.3) < 1e-9
    ages.sample(5_050, "filling")  # made 0.1 s after that tick
    assert abs(ages.sample_s() - 0.2) < 1e-9
    now[0] = 103.0
    ages.sample(5_100, "filling")  # came late: made at 100.2
    assert abs(ages.sample_s() - 2.8) < 1e-9
    ages.sample(9_000, "filling")  # a tick from the future says only that it came now
    assert ages.sample_s() == 0.0 and ages.state_s() == 0.0
    now[0] = 104.5
    ages.sample(9_700, "settling")
    assert ages.sample_s() == 0.0 and ages.state_s() > 1.0, (
        "another state: the status is as old as it is"
    )
    ages.forget()
    assert ages.sample_s() is None


def test_ticks_that_wrap_keep_their_age() -> None:
    now = [10.0]
    ages = Ages(lambda: now[0])
    ages.status((1 << 32) - 50, "ready", 10.0)
    now[0] = 10.5
    ages.sample(50, "ready")
    assert abs(ages.sample_s() - 0.3) < 1e-9
