"""OPC UA with certificates and passwords, against a real server on loopback."""

from __future__ import annotations

import asyncio
import hashlib
import logging
import socket
import threading
from datetime import UTC, datetime, timedelta

import pytest
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import rsa
from cryptography.x509.oid import NameOID

from ringout import run
from ringout.cell.links import access_of
from ringout.cell.model import Link
from ringout.live import PortError, Twin, port_of
from ringout.live.keys import Pair, fingerprint, make_pair, read_pair, vouched_for, write_pair
from ringout.live.opcua import certificate_of
from ringout.live.serve import Entry, TwinServer, server_of

CELL = "examples/caddy-lidder/corrected.yaml"
WORD = "Tulip-7-open"  # made up for these tests


def certificate(*, name="client", days=(-1, 30), issuer=None, ca=False, uri=None, key=None) -> Pair:
    """Return a pair as a site's own authority would make it, independent of the product."""
    key = key or rsa.generate_private_key(public_exponent=65537, key_size=2048)
    subject = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, name)])
    now = datetime.now(UTC)
    by = issuer.certificate.subject if issuer else subject
    built = (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(by)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now + timedelta(days=days[0]))
        .not_valid_after(now + timedelta(days=days[1]))
        .add_extension(x509.BasicConstraints(ca=ca, path_length=None), critical=True)
        .add_extension(
            x509.SubjectAlternativeName(
                [x509.UniformResourceIdentifier(uri or f"urn:test:{name}")]
            ),
            critical=False,
        )
        .sign(issuer.key if issuer else key, hashes.SHA256())
    )
    return Pair(built, key)


@pytest.fixture(scope="module")
def pairs():
    site = certificate(name="site", ca=True)
    return {
        "site": site,
        "site-client": certificate(issuer=site),
        "site-server": certificate(name="controller", issuer=site),
        "client": certificate(),
        "server": certificate(name="controller"),
        "other": certificate(name="other"),
        "expired": certificate(days=(-40, -1)),
        "early": certificate(days=(2, 40)),
        "old-server": certificate(name="controller", days=(-40, -1)),
    }


def files(folder, name: str, pair: Pair, passphrase: bytes = b"") -> tuple[str, str]:
    form = serialization
    lock = form.BestAvailableEncryption(passphrase) if passphrase else form.NoEncryption()
    shown, held = folder / f"{name}.pem", folder / f"{name}-key.pem"
    shown.write_bytes(pair.certificate.public_bytes(form.Encoding.PEM))
    held.write_bytes(pair.key.private_bytes(form.Encoding.PEM, form.PrivateFormat.PKCS8, lock))
    return str(shown), str(held)


class Bench:
    """Twins that are served in a thread of their own, one for each way of getting in."""

    def __init__(self, cell) -> None:
        self.cell = cell
        self.loop = asyncio.new_event_loop()
        self.thread = threading.Thread(target=self.loop.run_forever)
        self.thread.start()
        self.twin = Twin(cell, bounce=False)
        self.twin.move("S1", "pressed")
        self.twin.advance(0.1)
        self.servers: dict[str, TwinServer] = {}

    def wait(self, work):
        return asyncio.run_coroutine_threadsafe(work, self.loop).result(60)

    def link(self, target: str = "", **access: str) -> Link:
        item = self.cell.items["K1"]
        words = dict.fromkeys(("security", "user", "certificate", "key", "trust"), "")
        places = {c: f"ns=2;s=K1.{c}" for c in item.part.channels}
        return Link(
            "K1", "opcua", target, 1, "discrete", places, item.span,
            access_of(**{**words, **access}),
        )  # fmt: skip

    def serve(self, name: str, entry: Entry, security: str = "encrypt") -> str:
        """Return the address of a server; it is opened when first asked for."""
        if name not in self.servers:
            with socket.socket() as s:
                s.bind(("127.0.0.1", 0))
                target = f"opc.tcp://127.0.0.1:{s.getsockname()[1]}"
            self.servers[name] = server_of(self.twin, self.link(target, security=security), entry)
            self.wait(self.servers[name].start())
        return self.servers[name].link.target

    def read(self, link: Link, **secret: str):
        """Return what a client reads."""

        async def scene():
            port = port_of(link, ("I1", "I2", "I3"), secret)
            try:
                await port.open()
                return dict(await port.read())
            finally:
                await port.close()

        return self.wait(scene())

    def close(self) -> None:
        for server in self.servers.values():
            self.wait(server.stop())
        self.loop.call_soon_threadsafe(self.loop.stop)
        self.thread.join(10)
        self.loop.close()


@pytest.fixture(scope="module")
def bench():
    made = Bench(run.load(CELL).cell)
    yield made
    made.close()


@pytest.fixture(scope="module")
def ordinary(bench, pairs):
    """Return the address of a controller that knows some clients, by certificate alone."""
    known = tuple(pairs[n].certificate for n in ("client", "expired", "early", "site"))
    return bench.serve("ordinary", Entry(pairs["server"], known))


@pytest.fixture(scope="module")
def guarded(bench, pairs):
    """Return the address of a controller that asks for a password besides."""
    entry = Entry(pairs["server"], (pairs["client"].certificate,), {"setter": WORD})
    return bench.serve("guarded", entry)


@pytest.fixture
def equipped(bench, pairs, tmp_path):
    """Return what makes a link with files: own certificate, and the one that vouches."""

    def make(target, client="client", trust="server", **more):
        shown, held = files(tmp_path, client, pairs[client])
        vouching, _ = files(tmp_path, f"of-{trust}", pairs[trust])
        return bench.link(target, certificate=shown, key=held, trust=vouching, **more)

    return make


def test_with_certificates_of_both_sides_the_inputs_are_read(bench, ordinary, equipped):
    link = equipped(ordinary)
    assert link.access.security == "encrypt"
    assert bench.read(link) == {"I1": True, "I2": True, "I3": False}  # S1 pressed, S2 not


def test_signed_only(bench, pairs, equipped):
    target = bench.serve("signed", Entry(pairs["server"]), "sign")
    assert bench.read(equipped(target, security="sign"))["I1"]
    with pytest.raises(PortError, match="offers no policy") as told:
        bench.read(equipped(target))
    assert told.value.lasting


def test_with_user_and_password_too(bench, guarded, equipped):
    assert bench.read(equipped(guarded, user="setter"), password=WORD)["I1"]


def test_a_site_authority_vouches_for_both(bench, pairs, equipped):
    target = bench.serve("sited", Entry(pairs["site-server"], (pairs["site"].certificate,)))
    assert bench.read(equipped(target, client="site-client", trust="site"))["I1"]


def test_the_pair_the_product_makes_is_let_in(bench, tmp_path):
    mine, theirs = make_pair("bench"), make_pair("twin")
    own, key = tmp_path / "bench.pem", tmp_path / "bench-key.pem"
    write_pair(mine, own, key, WORD)
    assert key.stat().st_mode & 0o077 == 0
    shown, _ = files(tmp_path, "twin", theirs)
    target = bench.serve("made", Entry(theirs, (mine.certificate,)))
    link = bench.link(target, certificate=str(own), key=str(key), trust=shown)
    assert bench.read(link, passphrase=WORD)["I1"]
    with pytest.raises(PortError, match="this passphrase opens"):
        bench.read(link, passphrase="guess")
    with pytest.raises(FileExistsError):
        write_pair(mine, own, key)


REFUSED = {
    # what is wrong: our pair, whom we trust, the server's pair, words
    "nobody knows the client": ("other", "server", "server", "does not trust it"),
    "the controller is another": ("client", "other", "server", "not the one in `trust`"),
    "our time is over": ("expired", "server", "server", "held until"),
    "our time has not begun": ("early", "server", "server", "holds only from"),
    "its time is over": ("client", "old-server", "old-server", "held until"),
}


@pytest.mark.parametrize("case", list(REFUSED))
def test_what_is_refused_is_told_plainly_and_not_tried_again(
    bench, pairs, ordinary, equipped, case
):
    client, trust, server, words = REFUSED[case]
    target = ordinary if server == "server" else bench.serve("old", Entry(pairs[server]))
    with pytest.raises(PortError, match=words) as told:
        bench.read(equipped(target, client, trust))
    assert told.value.lasting
    assert told.value.cure


def test_a_controller_nobody_vouches_for_shows_its_fingerprint(bench, pairs, ordinary, tmp_path):
    shown, held = files(tmp_path, "client", pairs["client"])
    with pytest.raises(PortError, match="vouched for by nobody") as told:
        bench.read(bench.link(ordinary, certificate=shown, key=held))
    der = pairs["server"].certificate.public_bytes(serialization.Encoding.DER)
    by_hand = ":".join(f"{b:02X}" for b in hashlib.sha256(der).digest())
    assert by_hand in told.value.message
    fetched = bench.wait(certificate_of(ordinary))
    assert fetched == pairs["server"].certificate
    assert fingerprint(fetched) == by_hand


def test_a_wrong_password_and_an_unknown_user(bench, guarded, equipped):
    for user, word in (("setter", "guess"), ("nobody", WORD)):
        with pytest.raises(PortError, match=f"refuses user `{user}`") as told:
            bench.read(equipped(guarded, user=user), password=word)
        assert told.value.lasting
        assert word not in str(told.value) + told.value.cure


def test_a_nameless_user_where_a_name_is_asked_for(bench, guarded, equipped):
    with pytest.raises(PortError, match="nameless"):
        bench.read(equipped(guarded))


def test_a_password_is_never_sent_in_clear(bench, equipped):
    target = bench.serve("open", Entry(users={"setter": WORD}), "none")
    with pytest.raises(PortError, match="in clear") as told:
        bench.read(bench.link(target, security="none", user="setter"), password=WORD)
    assert told.value.lasting
    with pytest.raises(PortError, match="offers no policy"):
        bench.read(equipped(target))


def test_a_key_of_another_certificate_and_files_that_are_none(pairs, tmp_path):
    shown, _ = files(tmp_path, "client", pairs["client"])
    _, wrong = files(tmp_path, "other", pairs["other"])
    note = tmp_path / "note.txt"
    note.write_text("none")
    gone = str(tmp_path / "gone.pem")
    for own, key, words in (
        (shown, wrong, "not the private key"),
        (str(note), wrong, "no certificate"),
        (shown, str(note), "no private key"),
        (gone, wrong, "cannot be read"),
        (shown, gone, "cannot be read"),
        (shown, "", "needs its private key"),
    ):
        with pytest.raises(PortError, match=words) as told:
            read_pair(own, key)
        assert told.value.lasting


def test_only_an_authority_whose_time_holds_vouches_for_others(pairs):
    leaf = pairs["server"]
    forged = certificate(name="forged", issuer=leaf)
    assert not vouched_for(forged.certificate, [leaf.certificate])
    same_name = certificate(name="controller")
    assert not vouched_for(same_name.certificate, [leaf.certificate])
    old = certificate(name="site", ca=True, days=(-40, -1))
    assert not vouched_for(certificate(issuer=old).certificate, [old.certificate])


def test_no_secret_is_written_down(bench, guarded, equipped, caplog):
    caplog.set_level(logging.DEBUG)
    link = equipped(guarded, user="setter")
    bench.read(link, password=WORD)
    logging.getLogger("test").debug("something is written down at all")
    held = caplog.text + repr(bench.servers["guarded"].entry) + repr(link)
    assert "written down" in held
    assert WORD not in held
    assert "PRIVATE KEY" not in held
