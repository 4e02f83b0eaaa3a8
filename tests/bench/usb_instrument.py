"""A USB test and measurement instrument in software: a backend of pyusb with one device on its bus.

Descriptors follow the USB 2.0 specification, chapter 9, messages and requests the USBTMC 1.0 and USB488 specifications:
all from memory, and held against what pyvisa-py sends.
"""

import errno
from threading import Condition
from time import monotonic
from types import SimpleNamespace

import usb.backend
from usb.core import USBError, USBTimeoutError

VENDOR, PRODUCT = 0xEB00, 0x0001
BULK_OUT, BULK_IN = 0x01, 0x82
PACKET = 512                # bytes, high speed
HEAD = 12                   # bytes before what a bulk message carries
DEV_DEP_MSG_OUT, DEV_DEP_MSG_IN = 1, 2
END = 1                     # attribute: the message ends with this transfer
GET_DESCRIPTOR, STRING = 6, 3
INITIATE_ABORT_BULK_IN, CHECK_ABORT_BULK_IN_STATUS, GET_CAPABILITIES = 3, 4, 7
SUCCESS, NOT_IN_PROGRESS = 0x01, 0x81
LANGUAGE = b"\x04\x03\x09\x04"      # the one language of the strings: English


class UsbInstrument(usb.backend.IBackend):
    """Answers the lines of `answers`, in transfers of at most `most` bytes; others are taken as commands.

    `deaf` says that answers do not come; `is_gone` that the cable is out. An answer that nobody has fetched is thrown
    away by the next line (IEEE 488.2, message exchange), unless `keeps_answers`.
    """

    def __init__(self, serial, answers, most=1 << 16):
        self.serial, self.answers, self.most = serial, answers, most
        self.commands, self.opened, self.aborted, self.requests = [], 0, 0, []
        self.deaf = self.is_gone = self.keeps_answers = False
        self._heard, self._waiting, self._sending = b"", b"", b""
        self._tag = None        # of a request for data that is not served yet
        self._changed = Condition()

    @property
    def resource(self):
        return f"USB0::{VENDOR:#06x}::{PRODUCT:#06x}::{self.serial}::INSTR"

    # --- what is on the bus -----------------------------------------------------------------------
    def enumerate_devices(self):
        return [] if self.is_gone else [self]

    def get_parent(self, dev):
        return None

    def get_device_descriptor(self, dev):
        return SimpleNamespace(bLength=18, bDescriptorType=1, bcdUSB=0x200, bDeviceClass=0, bDeviceSubClass=0,
                               bDeviceProtocol=0, bMaxPacketSize0=64, idVendor=VENDOR, idProduct=PRODUCT, bcdDevice=1,
                               iManufacturer=0, iProduct=0, iSerialNumber=1, bNumConfigurations=1, address=1, bus=1,
                               port_number=1, port_numbers=(1,), speed=3)

    def get_configuration_descriptor(self, dev, config):
        _require(config == 0)
        return SimpleNamespace(bLength=9, bDescriptorType=2, wTotalLength=32, bNumInterfaces=1, bConfigurationValue=1,
                               iConfiguration=0, bmAttributes=0xC0, bMaxPower=0, extra_descriptors=[])

    def get_interface_descriptor(self, dev, intf, alt, config):
        _require(intf == alt == 0)
        return SimpleNamespace(bLength=9, bDescriptorType=4, bInterfaceNumber=0, bAlternateSetting=0, bNumEndpoints=2,
                               bInterfaceClass=0xFE, bInterfaceSubClass=3, bInterfaceProtocol=1, iInterface=0,
                               extra_descriptors=[])

    def get_endpoint_descriptor(self, dev, ep, intf, alt, config):
        _require(ep < 2)
        return SimpleNamespace(bLength=7, bDescriptorType=5, bEndpointAddress=(BULK_OUT, BULK_IN)[ep], bmAttributes=2,
                               wMaxPacketSize=PACKET, bInterval=0, bRefresh=0, bSynchAddress=0, extra_descriptors=[])

    def open_device(self, dev):
        self._require_there()
        self.opened += 1
        return self

    def close_device(self, dev_handle):
        pass

    def get_configuration(self, dev_handle):
        return 1

    def claim_interface(self, dev_handle, intf):
        self._require_there()

    def release_interface(self, dev_handle, intf):
        pass

    def is_kernel_driver_active(self, dev_handle, intf):
        return False

    # --- transfers --------------------------------------------------------------------------------
    def ctrl_transfer(self, dev_handle, bmRequestType, bRequest, wValue, wIndex, data, timeout):  # noqa: N803
        self._require_there()
        self.requests.append(bRequest)
        if bRequest == GET_DESCRIPTOR and wValue >> 8 == STRING:
            text = self.serial.encode("utf-16-le")
            return _fill(data, LANGUAGE if wValue & 0xFF == 0 else bytes((len(text) + 2, STRING)) + text)
        if bRequest == GET_CAPABILITIES:    # USB488 1.0 without remote control, trigger and termination character
            return _fill(data, bytes((SUCCESS, 0, 0, 1, 0, 0)) + bytes(6) + bytes((0, 1, 4, 0)) + bytes(8))
        if bRequest == INITIATE_ABORT_BULK_IN:
            return _fill(data, bytes((self._abort(), wValue & 0xFF)))
        if bRequest == CHECK_ABORT_BULK_IN_STATUS:
            return _fill(data, bytes((SUCCESS, 0)) + bytes(6))
        raise USBError("stalled: no such request", errno=errno.EPIPE)

    def bulk_write(self, dev_handle, ep, intf, data, timeout):
        self._require_there()
        content = data.tobytes()
        kind, tag, inverse, size, attributes = (content[0], content[1], content[2],
                                                int.from_bytes(content[4:8], "little"), content[8])
        _require(ep == BULK_OUT and tag and tag ^ inverse == 0xFF and len(content) % 4 == 0)
        with self._changed:
            if kind == DEV_DEP_MSG_IN:
                self._tag, self._wanted = tag, size
            else:
                _require(kind == DEV_DEP_MSG_OUT)
                self._heard += content[HEAD:HEAD + size]
                if attributes & END:
                    self._obey()
            self._changed.notify_all()
        return len(content)

    def bulk_read(self, dev_handle, ep, intf, buff, timeout):
        _require(ep == BULK_IN)
        with self._changed:
            if self._aborting:
                self._aborting = False
                return 0        # the short packet that ends an aborted transfer
            end = monotonic() + timeout / 1000
            while not (self._sending or self._begin()):
                if not self._changed.wait(end - monotonic()) and monotonic() >= end:
                    raise USBTimeoutError("timed out", errno=errno.ETIMEDOUT)
            self._require_there()
            part, self._sending = self._sending[:len(buff)], self._sending[len(buff):]
        return _put(buff, part)

    _aborting = False

    def _abort(self):
        with self._changed:
            under_way = self._tag is not None or bool(self._sending)
            self._tag, self._sending, self._aborting = None, b"", under_way
            self.aborted += under_way
        return SUCCESS if under_way else NOT_IN_PROGRESS

    def _begin(self):
        """Make the next transfer if one is asked for and there is something to send."""
        if self._tag is None or not self._waiting or self.deaf:
            return False
        count = min(self._wanted, self.most)
        part, self._waiting = self._waiting[:count], self._waiting[count:]
        head = bytes((DEV_DEP_MSG_IN, self._tag, self._tag ^ 0xFF, 0)) + len(part).to_bytes(4, "little")
        self._sending = head + bytes((0 if self._waiting else END, 0, 0, 0)) + part + bytes(-len(part) % 4)
        self._tag = None
        return True

    def _obey(self):
        line, self._heard = self._heard.strip(), b""
        if not self.keeps_answers:
            self._waiting = b""
        if line in self.answers:
            self._waiting += self.answers[line]
        else:
            self.commands.append(line)

    def _require_there(self):
        if self.is_gone:
            raise USBError("no such device", errno=errno.ENODEV)


def _fill(data, content):
    return _put(data, content[:len(data)])


def _put(buff, content):
    buff[:len(content)] = type(buff)("B", content)
    return len(content)


def _require(holds):
    """Refuse what a device on a real bus would stall at."""
    if not holds:
        raise IndexError("no such descriptor, or a message that is none")
