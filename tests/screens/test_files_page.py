"""Limit and sequence files changed on a page: checked as everywhere, kept as drafts, never outside their folders."""

import json

import pytest

from station.record.record import sha256_of
from station.screens.access import Role
from station.screens.drafts import hash_of

WRONG = ('lower = "nine"', "pole_pairs = 0", 'rule = "hopeful"')


@pytest.fixture(scope="module")
def site(tested):
    return tested


def text_of(site):
    return (site.station.limits / "CP-40.toml").read_text(encoding="utf-8")


def test_a_draft_that_holds_is_kept_beside_the_file_in_force(asked, site):
    client, before = asked(Role.ENGINEER), text_of(site)
    text = before.replace("lower = 9.6", "lower = 9.7")
    assert text != before
    answer = client.post("/files/limits/CP-40.toml", data={"text": text})
    assert answer.status_code == 200
    assert "kept as a draft" in answer.text
    assert "+back_emf_constant_peak" in answer.text.replace("&#34;", '"')
    assert (site.station.folder / "drafts" / "limits" / "CP-40.toml").read_text(encoding="utf-8") == text
    assert text_of(site) == before
    said = json.loads(site.trail.entries(limit=100_000)[-1][1])
    assert {"who": "R. Fink", "what": "save draft",
            "about": f"limits/CP-40.toml, SHA-256 {sha256_of(text.encode())}"}.items() <= said.items()
    assert "lower = 9.7" in client.get("/files/limits/CP-40.toml").text


def test_what_somebody_else_has_kept_meanwhile_is_not_written_over(asked, site):
    path, text = site.station.folder / "drafts" / "limits" / "CP-40.toml", text_of(site)
    client = asked(Role.ENGINEER)
    client.post("/files/limits/CP-40.toml", data={"text": text.replace("lower = 9.6", "lower = 9.5")})
    seen = hash_of(path)
    assert f'name="was" value="{seen}"' in client.get("/files/limits/CP-40.toml").text
    other = text.replace("lower = 9.6", "lower = 9.4")
    asked(Role.RELEASER).post("/files/limits/CP-40.toml", data={"text": other, "was": seen})
    answer = client.post("/files/limits/CP-40.toml", data={"text": text, "was": seen})
    assert (answer.status_code, path.read_text(encoding="utf-8")) == (400, other)
    assert "changed meanwhile" in answer.text


@pytest.mark.parametrize("wrong", WRONG)
def test_a_draft_with_faults_is_shown_with_every_fault_and_not_kept(asked, site, wrong):
    client, key = asked(Role.ENGINEER), wrong.partition(" ")[0]
    lines = [wrong if line.startswith(f"{key} =") else line for line in text_of(site).splitlines()]
    lines = [line.replace("lower = 9.6", wrong) if key == "lower" else line for line in lines]
    answer = client.post("/files/limits/VB-24.toml", data={"text": "\n".join(lines)})
    assert answer.status_code == 400
    assert "Not kept" in answer.text
    assert key in answer.text
    assert not (site.station.folder / "drafts" / "limits" / "VB-24.toml").exists()


def test_a_sequence_is_held_to_its_own_contract(asked, site):
    answer = asked(Role.RELEASER).post("/files/sequences/standard.toml", data={"text": text_of(site)})
    assert answer.status_code == 400


@pytest.mark.parametrize("path", ["/files/limits/..%2f..%2fstation.toml", "/files/limits/.hidden.toml",
                                  "/files/limits/%00.toml", "/files/secrets/CP-40.toml", "/files/limits/CP-40.txt",
                                  "/files/limits/absent.toml", "/files/limits/" + "x" * 5000 + ".toml"])
def test_no_address_leads_out_of_the_folders(asked, site, path):
    client = asked(Role.ENGINEER)
    assert client.get(path).status_code in (400, 404)
    if "absent" not in path:
        assert client.post(path, data={"text": text_of(site)}).status_code in (400, 404)
    assert {p.name for p in site.station.folder.iterdir()} >= {"station.toml", "limits"}


def test_a_text_without_end_is_refused(asked):
    assert asked(Role.ENGINEER).post("/files/limits/CP-40.toml", content=b"text=" + b"a" * (11 << 20)
                                     ).status_code == 400


def test_the_bench_and_what_is_said_to_it(asked, site):
    client = asked(Role.ENGINEER)
    text = client.get("/bench").text
    for role in ("drive", "digitizer", "ohmmeter", "supply", "insulation", "thermometer", "guard"):
        assert f"<td>{role}</td>" in text
    assert client.get("/bench/said?since=0").json() == {"noted": 0, "lines": []}
    assert client.get("/bench/said?since=-1").status_code == 400
