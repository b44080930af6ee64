"""Sends one message on one channel: mail (RFC 5321), a signed web hook, a broker (MQTT 3.1.1), a command of the user's.

Each raises `NotSent` with a reason that names no secret. Nothing waits longer than PATIENCE_S.
"""

import hashlib
import hmac
import json
import shlex
import smtplib
import socket
import ssl
import subprocess
import urllib.error
import urllib.request
from email.message import EmailMessage
from email.utils import formatdate, make_msgid
from http.client import HTTPException

from .. import __version__
from ..errors import KilnctlError
from ..settings.notification import Channel
from .broker import Broker
from .outbox import Message

#: Longest wait for a server or a command, s.
PATIENCE_S = 20.0
#: The header with the signature: hexadecimal HMAC-SHA256 of the body (RFC 2104).
SIGNATURE = "X-Kilnctl-Signature"


class NotSent(Exception):
    """Why a message could not be sent."""


def send(channel: Channel, message: Message, broker: Broker | None = None) -> None:
    """Send it now. `broker`: the open connection of a channel by mqtt. Raises NotSent."""
    try:
        if channel.by == "mail":
            _mail(channel, message)
        elif channel.by == "web hook":
            _web_hook(channel, message)
        elif channel.by == "mqtt":
            if broker is None:
                raise NotSent("the broker's connection is not open")
            broker.publish_event(message.mapping(), PATIENCE_S)
        else:
            _command(channel, message)
    except KilnctlError as error:
        raise NotSent(str(error)) from None
    except (OSError, smtplib.SMTPException, HTTPException, ValueError) as error:
        raise NotSent(_plainly(error)[:300]) from None


def _plainly(error: Exception) -> str:
    """What went wrong and what to look at, without the names of Python's errors."""
    if isinstance(error, urllib.error.URLError) and isinstance(error.reason, Exception):
        return _plainly(error.reason)
    if isinstance(error, socket.gaierror):
        return "the server's name is not known: check its spelling and this computer's network"
    if isinstance(error, TimeoutError):
        return f"timed out: no answer within {PATIENCE_S:.0f} s"
    if isinstance(error, ConnectionRefusedError):
        return "connection refused: check server and port"
    if isinstance(error, FileNotFoundError):
        return f"there is no such program or file: {error.filename}"
    if isinstance(error, smtplib.SMTPAuthenticationError):
        return f"user or password refused by the server: {_server_said(error)}"
    if isinstance(error, smtplib.SMTPResponseException):
        return f"the server answered {_server_said(error)}"
    if isinstance(error, ssl.SSLCertVerificationError):
        return f"the server's certificate is not trusted: {error.verify_message}"
    if isinstance(error, OSError) and error.strerror:
        return error.strerror
    return str(error) or type(error).__name__


def _server_said(error: smtplib.SMTPResponseException) -> str:
    said = error.smtp_error
    return f"{error.smtp_code} {said.decode('utf-8', 'replace') if isinstance(said, bytes) else said}"


def trusted(channel: Channel) -> ssl.SSLContext:
    """The TLS settings of that channel's connections. Raises NotSent if its certificate authority cannot be read."""
    try:
        return ssl.create_default_context(cafile=channel.authority or None)
    except (OSError, ssl.SSLError) as error:
        raise NotSent(f"the certificates in {channel.authority} cannot be read: {error}") from None


def _mail(channel: Channel, message: Message) -> None:
    mail = EmailMessage()
    mail["From"], mail["To"] = channel.sender, channel.to
    mail["Subject"] = " ".join(f"{message.place}: {message.subject}".split())
    mail["Date"], mail["Message-ID"] = formatdate(localtime=True), make_msgid(domain="kilnctl.invalid")
    if message.urgent:
        mail["X-Priority"] = "1"
    chamber = "" if message.chamber_c is None else f"\nChamber then: {message.chamber_c:.0f} °C"
    mail.set_content(f"{message.words}\n\n{message.oven}, {message.wall}{chamber}\n{message.run}\n")
    with _mail_server(channel) as server:
        if channel.security == "starttls":
            server.starttls(context=trusted(channel))
        if channel.user:
            server.login(channel.user, channel.secret())
        server.send_message(mail)


def _mail_server(channel: Channel) -> smtplib.SMTP:
    if channel.security == "tls":
        return smtplib.SMTP_SSL(channel.server, channel.at_port, timeout=PATIENCE_S, context=trusted(channel))
    return smtplib.SMTP(channel.server, channel.at_port, timeout=PATIENCE_S)


class _NoRedirect(urllib.request.HTTPRedirectHandler):
    """Follows no redirect: a signed message goes only to the address in the file."""

    def redirect_request(self, *_args, **_named):
        return None


def _web_hook(channel: Channel, message: Message) -> None:
    body = json.dumps(message.mapping(), ensure_ascii=False, allow_nan=False).encode()
    headers = {"Content-Type": "application/json", "User-Agent": f"kilnctl/{__version__}"}
    if channel.secret_file or channel.secret_variable:
        headers[SIGNATURE] = "sha256=" + hmac.new(channel.secret().encode(), body, hashlib.sha256).hexdigest()
    request = urllib.request.Request(channel.address, data=body, headers=headers, method="POST")
    opener = urllib.request.build_opener(_NoRedirect, urllib.request.HTTPSHandler(context=trusted(channel)))
    try:
        with opener.open(request, timeout=PATIENCE_S) as answer:
            answer.read(4096)
    except urllib.error.HTTPError as error:
        with error:
            raise NotSent(f"the server answered {error.code} {error.reason}") from None


def _command(channel: Channel, message: Message) -> None:
    words = shlex.split(channel.command)
    said = json.dumps(message.mapping(), ensure_ascii=False, allow_nan=False)
    try:
        done = subprocess.run(words, input=said.encode(), capture_output=True, timeout=PATIENCE_S, check=False)
    except subprocess.TimeoutExpired:
        raise NotSent(f"{words[0]} did not end within {PATIENCE_S:.0f} s and was ended") from None
    if done.returncode:
        last = done.stderr.decode("utf-8", "replace").strip().splitlines()[-1:] or [""]
        raise NotSent(f"{words[0]} ended with status {done.returncode}: {last[0][:200]}")
