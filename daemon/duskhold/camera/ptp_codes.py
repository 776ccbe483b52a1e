"""The numbers of ISO 15740 (PTP) that a body of ours speaks, and those of vendor extensions 0x000A and 0x000B."""

from __future__ import annotations

from enum import IntEnum


class Operation(IntEnum):
    """ISO 15740, operation codes."""

    GET_DEVICE_INFO = 0x1001
    OPEN_SESSION = 0x1002
    CLOSE_SESSION = 0x1003
    GET_STORAGE_IDS = 0x1004
    GET_STORAGE_INFO = 0x1005
    GET_NUM_OBJECTS = 0x1006
    GET_OBJECT_HANDLES = 0x1007
    GET_OBJECT_INFO = 0x1008
    GET_OBJECT = 0x1009
    INITIATE_CAPTURE = 0x100E
    GET_DEVICE_PROP_DESC = 0x1014
    GET_DEVICE_PROP_VALUE = 0x1015
    SET_DEVICE_PROP_VALUE = 0x1016
    TERMINATE_OPEN_CAPTURE = 0x1018
    GET_PARTIAL_OBJECT = 0x101B
    INITIATE_OPEN_CAPTURE = 0x101C


class Response(IntEnum):
    """ISO 15740, response codes."""

    OK = 0x2001
    GENERAL_ERROR = 0x2002
    SESSION_NOT_OPEN = 0x2003
    INVALID_TRANSACTION_ID = 0x2004
    OPERATION_NOT_SUPPORTED = 0x2005
    PARAMETER_NOT_SUPPORTED = 0x2006
    INVALID_STORAGE_ID = 0x2008
    INVALID_OBJECT_HANDLE = 0x2009
    DEVICE_PROP_NOT_SUPPORTED = 0x200A
    STORE_FULL = 0x200C
    ACCESS_DENIED = 0x200F
    STORE_NOT_AVAILABLE = 0x2013
    DEVICE_BUSY = 0x2019
    INVALID_DEVICE_PROP_VALUE = 0x201C
    INVALID_PARAMETER = 0x201D
    SESSION_ALREADY_OPEN = 0x201E


class Event(IntEnum):
    """ISO 15740, event codes."""

    OBJECT_ADDED = 0x4002
    DEVICE_PROP_CHANGED = 0x4006
    CAPTURE_COMPLETE = 0x400D


class Property(IntEnum):
    """ISO 15740, device property codes."""

    BATTERY_LEVEL = 0x5001
    COMPRESSION_SETTING = 0x5004
    WHITE_BALANCE = 0x5005
    F_NUMBER = 0x5007
    FOCUS_MODE = 0x500A
    EXPOSURE_TIME = 0x500D
    EXPOSURE_PROGRAM_MODE = 0x500E
    EXPOSURE_INDEX = 0x500F
    DATE_TIME = 0x5011
    STILL_CAPTURE_MODE = 0x5013


class DataType(IntEnum):
    """ISO 15740, simple types."""

    UINT8 = 0x0002
    UINT16 = 0x0004
    UINT32 = 0x0006
    STRING = 0xFFFF


class ObjectFormat(IntEnum):
    """ISO 15740, object formats."""

    UNDEFINED = 0x3000
    ASSOCIATION = 0x3001
    EXIF_JPEG = 0x3801
    DNG = 0x3811


class ToggleOperation(IntEnum):
    """Vendor extension 0x000A: operations of its bulb and of its event queue."""

    CHANGE_CAMERA_MODE = 0x90C2
    GET_EVENT = 0x90C7
    DEVICE_READY = 0x90C8
    INITIATE_CAPTURE_REC_IN_MEDIA = 0x9207
    TERMINATE_CAPTURE = 0x920C


class ToggleResponse(IntEnum):
    """Vendor extension 0x000A: responses."""

    INVALID_STATUS = 0xA004
    SHUTTER_SPEED_BULB = 0xA008
    BULB_RELEASE_BUSY = 0xA200


class ToggleProperty(IntEnum):
    """Vendor extension 0x000A: properties."""

    AUTO_ISO = 0xD054
    EXPOSURE_DELAY = 0xD06A
    LONG_EXPOSURE_NOISE_REDUCTION = 0xD06B
    BRACKETING = 0xD0C0
    STABILISER = 0xD138
    EXPOSURE_REMAINING = 0xD1F1
    SILENT_PHOTOGRAPHY = 0xD315


class PressOperation(IntEnum):
    """Vendor extension 0x000B: operations of its release button, its bulb and its event queue."""

    GET_STORAGE_IDS = 0x9101
    GET_STORAGE_INFO = 0x9102
    REMOTE_RELEASE = 0x910F
    SET_PROPERTY = 0x9110
    SET_REMOTE_MODE = 0x9114
    SET_EVENT_MODE = 0x9115
    GET_EVENT = 0x9116
    HOST_CAPACITY = 0x911A
    KEEP_DEVICE_ON = 0x911D
    BULB_START = 0x9125
    BULB_END = 0x9126
    REMOTE_RELEASE_ON = 0x9128
    REMOTE_RELEASE_OFF = 0x9129


class PressEvent(IntEnum):
    """Vendor extension 0x000B: records in its event queue."""

    OBJECT_ADDED = 0xC181
    PROPERTY_CHANGED = 0xC189
    CHOICES_CHANGED = 0xC18A
    CAMERA_STATUS = 0xC18B
    BULB_TIME = 0xC194


class PressProperty(IntEnum):
    """Vendor extension 0x000B: properties."""

    APERTURE = 0xD101
    SHUTTER_SPEED = 0xD102
    ISO = 0xD103
    EXPOSURE_MODE = 0xD105
    DRIVE = 0xD106
    FOCUS = 0xD108
    WHITE_BALANCE = 0xD109
    BATTERY = 0xD111
    CAMERA_TIME = 0xD113
    AVAILABLE_SHOTS = 0xD11B
    DESTINATION = 0xD11C
    IMAGE_FORMAT = 0xD120
    MIRROR_LOCK = 0xD13A
    LIVE_VIEW_OUTPUT = 0xD1B0
    BRACKETING = 0xD1D9


EXPOSURE_TIME_BULB = 0xFFFF_FFFF
EVERYTHING = 0xFFFF_FFFF
