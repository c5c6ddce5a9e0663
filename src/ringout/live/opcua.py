"""Inputs and outputs over OPC UA, with security where the server asks for it."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from ringout.cell.model import Link
from ringout.live.keys import (
    application_uri,
    fingerprint,
    read_certificate,
    read_pair,
    time_problem,
    vouched_for,
)
from ringout.live.port import PortError, hush

if TYPE_CHECKING:
    from cryptography.x509 import Certificate

ANSWER_S = 2.0  # a session takes a few round trips, common practice
VALUE = 13  # opc 10000-6: the attribute that holds the value
# opc 10000-7, strongest first; older ones are withdrawn
POLICIES = ("Aes256Sha256RsaPss", "Basic256Sha256", "Aes128Sha256RsaOaep")
_MODES = {"none": "None_", "sign": "Sign", "encrypt": "SignAndEncrypt"}
_WHYS = {
    "Untrusted": "it does not trust it",
    "TimeInvalid": "its time is over or has not begun",
    "UriInvalid": "it is made out to another application",
    "UseNotAllowed": "it is not made for this use",
    "Invalid": "it lacks something",
    "Revoked": "it was called back",
}


class OpcuaPort:
    """One controller over OPC UA.

    Args:
        link: its URL and the node of each channel.
        inputs: channels to read.
        secret: `password` of the user and `passphrase` of the private key, as far as needed.
    """

    def __init__(self, link: Link, inputs: tuple[str, ...], secret: Mapping[str, str]) -> None:
        self.link, self.inputs, self.secret = link, inputs, secret
        self._client: Any = None
        self._nodes: list[Any] = []
        self._question: Any = None

    async def open(self) -> None:
        """Connect; see `Port`."""
        from asyncua import ua
        from asyncua.client.client import Client
        from asyncua.ua.uaerrors import UaError

        hush()
        client = Client(self.link.target, timeout=ANSWER_S)
        access = self.link.access
        ends: list[Any] = []
        try:
            if access.security != "none" or access.user:
                ends = await asyncio.wait_for(
                    client.connect_and_get_server_endpoints(), 3 * ANSWER_S
                )
            if access.security != "none":
                await self._secure(client, ends)
            if access.user:
                self._check_password_way(ends)
                client.set_user(access.user)
                client.set_password(self.secret.get("password", ""))
            await asyncio.wait_for(client.connect(), 3 * ANSWER_S)
        except (UaError, OSError, TimeoutError, ConnectionError) as error:
            with contextlib.suppress(Exception):  # a half-made session ends in any way
                await asyncio.wait_for(client.disconnect(), ANSWER_S)
            raise self._refused(error, reached=bool(ends)) from error
        self._client = client
        self._nodes = [self._node(str(self.link.places[c])) for c in self.inputs]
        self._question = ua.ReadParameters(
            TimestampsToReturn=ua.TimestampsToReturn.Neither,  # the poll has a time of its own
            NodesToRead=[
                ua.ReadValueId(NodeId=n.nodeid, AttributeId=ua.attribute_ids.AttributeIds(VALUE))
                for n in self._nodes
            ],
        )

    async def _secure(self, client: Any, ends: list[Any]) -> None:
        """Agree on the strongest policy both know, with a controller somebody vouches for."""
        from asyncua import ua
        from asyncua.crypto import security_policies
        from asyncua.crypto.uacrypto import CertProperties
        from cryptography import x509
        from cryptography.hazmat.primitives.serialization import Encoding

        access, item = self.link.access, self.link.item
        pair = read_pair(access.certificate, access.key, self.secret.get("passphrase", ""))
        mode = ua.MessageSecurityMode[_MODES[access.security]]
        offered = {e.SecurityPolicyUri: e for e in ends if e.SecurityMode == mode}
        known = [getattr(security_policies, f"SecurityPolicy{p}") for p in POLICIES]
        policy = next((p for p in known if p.URI in offered), None)
        if policy is None:
            raise PortError(
                f"{item} at {self.link.target} offers no policy for `security: "
                f"{access.security}` that is known here ({', '.join(POLICIES)})",
                "switch one on in the controller, or set `security` to what it offers",
                lasting=True,
            )
        shown = x509.load_der_x509_certificate(_first(offered[policy.URI].ServerCertificate))
        trusted = [read_certificate(access.trust)] if access.trust else []
        self._judge(shown, trusted)
        client.application_uri = application_uri(pair.certificate) or client.application_uri
        await client.set_security(
            policy,
            CertProperties(pair.certificate.public_bytes(Encoding.DER), "der"),
            CertProperties(pair.key_pem(), "pem"),
            server_certificate=CertProperties(shown.public_bytes(Encoding.DER), "der"),
            mode=mode,
        )

    def _judge(self, shown: Certificate, trusted: list[Certificate]) -> None:
        """Refuse a controller that nobody vouches for, or whose certificate is out of time."""
        item = self.link.item
        if not vouched_for(shown, trusted):
            other = "is not the one in `trust`" if trusted else "is vouched for by nobody"
            raise PortError(
                f"the certificate that {item} at {self.link.target} shows {other}; "
                f"SHA-256 {fingerprint(shown)}",
                "compare it with what the controller itself shows; then fetch it with "
                f"`ringout certificate --of {self.link.target}` and name it in `trust` or --trust",
                lasting=True,
            )
        out_of_time = time_problem(shown, f"the certificate of {item}")
        if out_of_time:
            raise PortError(
                out_of_time, "give the controller a new one; is its clock right?", lasting=True
            )

    def _check_password_way(self, ends: list[Any]) -> None:
        """Refuse to send a password in clear."""
        from asyncua import ua

        if self.link.access.security == "encrypt":
            return
        tokens = [
            t
            for e in ends
            if e.SecurityMode == ua.MessageSecurityMode[_MODES[self.link.access.security]]
            for t in e.UserIdentityTokens
            if t.TokenType == ua.UserTokenType.UserName
        ]
        if tokens and all((t.SecurityPolicyUri or "#None").endswith("#None") for t in tokens):
            raise PortError(
                f"the password for {self.link.item} would cross the network in clear",
                "use `security: encrypt` with a certificate; `ringout certificate` makes one",
                lasting=True,
            )

    def _refused(self, error: BaseException, *, reached: bool) -> PortError:
        """Return the plain words for a connection that was not had."""
        name = type(error).__name__
        item, target, access = self.link.item, self.link.target, self.link.access
        if "Identity" in name or "UserAccess" in name:
            return PortError(
                f"{item} at {target} refuses "
                + (f"user `{access.user}` or the password" if access.user else "a nameless user"),
                "check the user name and the password" if access.user else "give --user",
                lasting=True,
            )
        if "Certificate" in name or "SecurityChecks" in name:
            why = _WHYS.get(name.removeprefix("BadCertificate"), name)
            return PortError(
                f"{item} at {target} refuses the certificate {access.certificate}: {why}",
                "make it known to the controller as a trusted client; check its time and clock",
                lasting=True,
            )
        if reached and access.security != "none":
            return PortError(
                f"{item} at {target} ended the talk while keys were agreed",
                f"is {access.certificate} a trusted client there, and its time not over?",
            )
        return PortError(
            f"{item} cannot be reached at {target}",
            "check cable, address and port; is OPC UA switched on in the controller?",
        )

    def _node(self, name: str) -> Any:
        from asyncua.ua.uaerrors import UaStringParsingError

        try:
            return self._client.get_node(name)
        except (UaStringParsingError, ValueError) as error:
            raise PortError(
                f"`{name}` is no node of {self.link.item}",
                "write it as the controller shows it, as in `ns=2;s=K1.I4`",
                lasting=True,
            ) from error

    async def read(self) -> Mapping[str, bool]:
        """Return every mapped input; see `Port`."""
        client = self._need()
        answers = await self._call(client.uaclient.read(self._question), self._nodes)
        out = {}
        for channel, answer in zip(self.inputs, answers, strict=True):
            value = answer.Value.Value if answer.Value is not None else None
            # some controllers hold an input as a number 0 or 1; true is equal to 1
            if value not in (0, 1) or not isinstance(value, bool | int):
                raise self._no_level(channel, answer)
            out[channel] = value == 1
        return out

    def _no_level(self, channel: str, answer: Any) -> PortError:
        """Return why a node gives no level: it is not there, is not to be read, or is no input."""
        place, item = self.link.places[channel], self.link.item
        status = answer.StatusCode
        if status is None or status.is_good():
            return PortError(
                f"{place} of {item} is no true-or-false value",
                "name the node of the input itself",
                lasting=True,
            )
        if "NodeId" in status.name:
            why, lasting = "it has no such node", True
        elif "Access" in status.name or "NotReadable" in status.name:
            why, lasting = "this user may not read it", True
        else:  # its module starts, or has lost its own connection
            why, lasting = f"it has no value now ({status.name})", False
        return PortError(
            f"{item} does not give {place}: {why}",
            f"compare `inputs` and `map` of {item} with the controller",
            lasting=lasting,
        )

    async def write(self, channel: str, *, on: bool) -> None:
        """Command an output; see `Port`."""
        from asyncua import ua

        self._need()
        node = self._node(str(self.link.places[channel]))
        value = ua.DataValue(ua.Variant(on, ua.VariantType.Boolean))
        await self._call(node.write_value(value), [node])

    async def close(self) -> None:
        """Leave; see `Port`."""
        client, self._client = self._client, None
        if client is None:
            return
        with contextlib.suppress(Exception):  # the other end may be gone in any way
            await asyncio.wait_for(client.disconnect(), ANSWER_S)

    def _need(self) -> Any:
        if self._client is None:
            raise PortError(f"{self.link.item} is not connected", "it is tried again")
        return self._client

    async def _call(self, question: Any, nodes: list[Any]) -> Any:
        from asyncua.ua.uaerrors import UaStatusCodeError

        item = self.link.item
        try:
            return await asyncio.wait_for(question, 2 * ANSWER_S)
        except UaStatusCodeError as error:
            name = type(error).__name__
            lasting = "NodeId" in name or "Access" in name or "NotWritable" in name
            raise PortError(
                f"{item} refuses {len(nodes)} nodes, the first {nodes[0]}: {name}",
                f"compare `inputs`, `outputs` and `map` of {item} with the controller",
                lasting=lasting,
            ) from error
        except (TimeoutError, OSError, ConnectionError) as error:
            raise PortError(f"{item} does not answer", "it is tried again") from error


def _first(chain: bytes) -> bytes:
    """Return the first certificate of a chain: a DER sequence says its own length."""
    return chain[: int.from_bytes(chain[2:4], "big") + 4]


async def certificate_of(url: str) -> Certificate:
    """Return the certificate a server shows; nobody has vouched for it.

    Raises:
        PortError: it cannot be reached, or shows none.
    """
    from asyncua.client.client import Client
    from asyncua.ua.uaerrors import UaError
    from cryptography import x509

    hush()
    try:
        client = Client(url, timeout=ANSWER_S)
        ends = await asyncio.wait_for(client.connect_and_get_server_endpoints(), 3 * ANSWER_S)
    except (UaError, OSError, TimeoutError, ConnectionError, ValueError) as error:
        raise PortError(
            f"nothing answers at {url}", "write the address as `opc.tcp://HOST:PORT`"
        ) from error
    for end in ends:
        if end.ServerCertificate:
            return x509.load_der_x509_certificate(_first(end.ServerCertificate))
    raise PortError(f"{url} shows no certificate", "switch security on in the controller")
