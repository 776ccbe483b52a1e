"""The numbers of ISO 15740 (PTP) that a body of ours speaks, and those of vendor extension 0x000A."""

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
    GET_PARTIAL_OBJECT = 0x101B


class Response(IntEnum):
    """ISO 15740, response codes."""

    OK = 0x2001
    GENERAL_ERROR = 0x2002
    SESSION_NOT_OPEN = 0x2003
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
    F_NUMBER = 0x5007
    FOCUS_MODE = 0x500A
    EXPOSURE_TIME = 0x500D
    EXPOSURE_PROGRAM_MODE = 0x500E
    EXPOSURE_INDEX = 0x500F
    DATE_TIME = 0x5011


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

    LONG_EXPOSURE_NOISE_REDUCTION = 0xD06B
    EXPOSURE_REMAINING = 0xD1F1


EXPOSURE_TIME_BULB = 0xFFFF_FFFF
EVERYTHING = 0xFFFF_FFFF
