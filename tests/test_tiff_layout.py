"""The layout of rasters written tile by tile, held against files of the library's own making."""

import struct

import numpy as np
import pytest
import rasterio
from made_results import CRS
from rasterio.transform import Affine

from spreadmap.io import tiff_layout
from spreadmap.io.overviews import commonest_halved, mean_halved, sizes_of_levels
from spreadmap.io.tiff_layout import BLOCK, COUNTS, GHOST, OFFSETS, Level, Tag, framed, head, read_blocks, read_tags

TAGS = {258: Tag(kind=3, count=1, data=struct.pack("<H", 32)), 42112: Tag(kind=2, count=9, data=b"longtext\x00")}


def library_file(path, shape, driver="COG", compress="DEFLATE"):
    values = np.arange(shape[0] * shape[1], dtype=np.float32).reshape(shape)
    more = {"blocksize": BLOCK} if driver == "COG" else {"tiled": True, "blockxsize": BLOCK, "blockysize": BLOCK}
    known = {"crs": CRS, "transform": Affine(2, 0, 560_000, 0, -2, 5_940_000), "compress": compress}
    with rasterio.open(
        path, "w", driver=driver, width=shape[1], height=shape[0], count=1, dtype="float32", **known, **more
    ) as file:
        file.write(values, 1)
    return path


def test_the_ghost_area_is_the_library_s_own(tmp_path):
    data = library_file(tmp_path / "cog.tif", (700, 600)).read_bytes()
    assert data[8 : 8 + len(GHOST)] == GHOST


def test_blocks_are_framed_as_the_library_frames_them(tmp_path):
    data = library_file(tmp_path / "cog.tif", (700, 600)).read_bytes()
    tags = read_tags(data)
    (first,) = struct.unpack_from("<I", tags[OFFSETS].data)
    block = read_blocks(data)[0]
    assert data[first - 4 : first + len(block) + 4] == framed(block)


def test_blocks_of_a_small_file_are_taken_apart(tmp_path):
    # without packing a block is its cells, row by row
    data = library_file(tmp_path / "plain.tif", (600, 1100), "GTiff", compress="NONE").read_bytes()
    blocks = read_blocks(data)
    assert len(blocks) == 2 * 3
    second = np.frombuffer(blocks[1], "<f4").reshape(BLOCK, BLOCK)
    np.testing.assert_array_equal(second[3], 3 * 1100 + np.arange(512, 1024))


def test_what_is_no_such_file_is_refused():
    with pytest.raises(ValueError, match=r"begins with b'MM"):
        read_tags(b"MM\x00*" + bytes(20))


@pytest.mark.parametrize("shape", [(512, 512), (513, 20), (1024, 1024), (1025, 3000), (4096, 2049), (100, 5000)])
def test_overviews_are_as_many_as_the_library_makes(tmp_path, shape):
    with rasterio.open(library_file(tmp_path / "cog.tif", shape)) as file:
        factors = file.overviews(1)
    assert len(sizes_of_levels(shape)) == 1 + len(factors)


def walk(data):
    """Return tags of every directory by an own reading, small or large."""
    is_big = data[2] == 43
    inline, count, entry, link = (8, "<Q", "<HHQ", "<Q") if is_big else (4, "<H", "<HHI", "<I")
    width = {2: 1, 3: 2, 4: 4, 16: 8}
    (place,), found = struct.unpack_from(link, data, 8 if is_big else 4), []
    while place:
        assert place % 2 == 0
        (tags,), at, read = struct.unpack_from(count, data, place), place + struct.calcsize(count), {}
        for _ in range(tags):
            number, kind, values = struct.unpack_from(entry, data, at)
            at += struct.calcsize(entry)
            start = at if width[kind] * values <= inline else struct.unpack_from(link, data, at)[0]
            read[number] = (kind, data[start : start + width[kind] * values])
            at += inline
        assert list(read) == sorted(read)
        found.append(read)
        (place,) = struct.unpack_from(link, data, at)
    return found


@pytest.mark.parametrize(("each", "kind", "dtype"), [(1000, 4, "<u4"), (2**31, 16, "<u8")])
def test_places_follow_each_other_smallest_overview_first(each, kind, dtype):
    # two blocks of each level; 2^31 bytes each take the file beyond what four bytes can place
    full = Level(n_rows=500, n_cols=1000, sizes=np.array([each, each + 1]))
    half = Level(n_rows=250, n_cols=500, sizes=np.array([each + 2]))
    data = head(TAGS, [full, half])
    first, second = walk(data)
    assert {first[OFFSETS][0], second[OFFSETS][0]} == {kind}
    places = [np.frombuffer(one[OFFSETS][1], dtype).tolist() for one in (first, second)]
    begin = len(data) + 4
    assert places[1] == [begin]
    assert places[0] == [begin + each + 2 + 8, begin + each + 2 + 8 + each + 8]
    assert np.frombuffer(first[COUNTS][1], "<u4").tolist() == [each, each + 1]
    assert 254 not in first
    assert second[254][1] == struct.pack("<I", 1)
    assert first[42112][1] == b"longtext\x00"
    assert 42112 not in second


def test_one_byte_decides_whether_places_take_eight():
    def kind(size):
        (level,) = walk(head(TAGS, [Level(n_rows=9, n_cols=9, sizes=np.array([size]))]))
        return level[OFFSETS][0]

    front = len(head(TAGS, [Level(n_rows=9, n_cols=9, sizes=np.array([1]))]))
    most = tiff_layout.MOST_CLASSIC - front - 8
    assert (kind(most), kind(most + 1)) == (4, 16)


def test_means_weigh_edge_cells_by_what_they_hold():
    # worked by hand: rows stand for 2, 2, 1 rows of the map, columns for 2 and 1
    values = np.array([[1.0, 4.0], [3.0, 4.0], [5.0, np.nan]])
    held = (np.array([2, 2, 1]), np.array([2, 1]))
    np.testing.assert_allclose(mean_halved(values, *held), [[(4 * 1 + 2 * 4 + 4 * 3 + 2 * 4) / 12], [5.0]])


def test_no_value_among_four_is_left_out_and_four_of_them_stay():
    values = np.array([[1.0, np.nan, np.nan, np.nan], [2.0, 3.0, np.nan, np.nan]], dtype=np.float32)
    found = mean_halved(values, np.ones(2, int), np.ones(4, int))
    np.testing.assert_array_equal(found, np.array([[2.0, np.nan]], dtype=np.float32))


def test_the_commonest_class_wins_and_of_two_the_higher():
    classes = np.array([[1, 1, 1, 3, 255, 255, 255], [2, 1, 3, 1, 255, 4, 255]], dtype=np.uint8)
    assert commonest_halved(classes, 255).tolist() == [[1, 3, 4, 255]]
