"""Names of colours: the ISCC-NBS designations (Kelly & Judd 1976, NBS Special Publication 440).

The system divides colours into 267 named blocks. For quick work its author published the middle of each
block, for a chart from which the name of the nearest one is taken (Kelly 1958, "Central notations for the
revised ISCC-NBS color-name blocks", J. Res. NBS 61, 427-431; a work of the United States government, in the
public domain). That is done here, with CIEDE2000 at kL = 2 as the measure of nearness: the blocks are taller
in lightness than wide in chroma. Near the border of two blocks the name may therefore be the neighbour's.

The table holds Kelly's Munsell notations, turned into CIELAB under D65 with the Munsell renotation of
colour-science 0.4.7 and a Bradford adaptation from illuminant C; tests/data/iscc_nbs.csv has the notations.
They were taken second hand and corrected in five places; that file says which.
Four of the 267 (reddish, brownish, olive and greenish black) lie below Munsell value 1, where the renotation
ends, and are left out.
"""

from functools import cache

import numpy as np
from numpy.typing import NDArray


def colour_name(lab: tuple[float, float, float]) -> str:
    """ISCC-NBS designation of a colour.

    Parameters
    ----------
    lab : (float, float, float)
        CIELAB L*, a*, b* under D65, 2° observer.

    Returns
    -------
    str
        For example "deep purplish red".

    Examples
    --------
    >>> colour_name((55.0, 0.0, 0.0)), colour_name((30.0, 55.0, 25.0))
    ('medium gray', 'deep red')
    """
    names, centroids = _centroids()
    from skimage.color import deltaE_ciede2000

    distance = deltaE_ciede2000(np.full_like(centroids, lab), centroids, kL=2)
    return names[int(np.argmin(distance))]


@cache
def _centroids() -> tuple[tuple[str, ...], NDArray[np.float64]]:
    rows = [entry.rsplit(maxsplit=3) for entry in _TABLE.replace("\n", " ").split(";")]
    return tuple(row[0].strip() for row in rows), np.array([row[1:] for row in rows], np.float64)


#: Name, L*, a*, b* of the centroids in the order of the publication.
_TABLE = """
vivid pink 70.7 56.1 17.1; strong pink 75.6 38.7 12.3; deep pink 60.9 47 14.9; light pink 86.3 21.7 8.4;
moderate pink 72.8 21 7.8; dark pink 61 25.4 9.1; pale pink 88.2 7.4 2.8; grayish pink 72.8 8.3 3.1;
pinkish white 92.1 2.5 1.8; pinkish gray 75.7 3.4 2.3; vivid red 40.6 65.4 31.6; strong red 45.8 53.8 22;
deep red 28.2 47.7 17.5; very deep red 14.2 44.1 3.7; moderate red 45.8 41.3 16.9;
dark red 28.2 33.2 11.4; very dark red 12.3 25.7 0.2; light grayish red 61 13.9 6.6;
grayish red 45.8 21.8 9.7; dark grayish red 27.3 12.2 3.3; blackish red 11.4 10.3 0.3;
reddish gray 56 4.5 2.5; dark reddish gray 35.5 5.9 2.7; vivid yellowish pink 70.8 51.4 41.2;
strong yellowish pink 75.6 36 28; deep yellowish pink 60.9 51.4 28.6; light yellowish pink 86.3 17.6 19.1;
moderate yellowish pink 72.8 17.2 17.9; dark yellowish pink 61 24.2 15.5;
pale yellowish pink 88.2 6.5 8.2; grayish yellowish pink 72.8 7.9 7.6; brownish pink 72.8 5.3 11.8;
vivid reddish orange 55.9 57.7 60.1; strong reddish orange 56 46.6 44.9;
deep reddish orange 40.6 47.2 43.5; moderate reddish orange 56 35.9 32.6;
dark reddish orange 40.7 37.2 31.7; grayish reddish orange 56 23 22.6;
strong reddish brown 30.3 45.4 43.3; deep reddish brown 15.2 36.3 15.5; light reddish brown 56 15.8 15.1;
moderate reddish brown 34.5 23.6 17.6; dark reddish brown 13.3 19.7 7.5;
light grayish reddish brown 56.1 8 10; grayish reddish brown 34.5 11.2 8.1;
dark grayish reddish brown 20.2 9.7 5.3; vivid orange 66.9 39.4 86.9; brilliant orange 80.5 32.4 63.2;
strong orange 66 32.9 62.7; deep orange 51 32.6 62.7; light orange 80.5 22.7 41.6;
moderate orange 66 23.1 40.7; brownish orange 51 24.6 41.5; strong brown 35.5 24.1 41.8;
deep brown 21.2 20.1 28.9; light brown 56.1 13.1 23.7; moderate brown 35.6 12.8 20.2;
dark brown 16.3 15 18.5; light grayish brown 56.1 5.9 11.8; grayish brown 35.6 7 10.6;
dark grayish brown 20.2 6.1 7.4; light brownish gray 56.1 2.8 5.4; brownish gray 35.6 3.2 4.9;
vivid orange yellow 72.8 22 99.7; brilliant orange yellow 84.4 18 74.7;
strong orange yellow 72.8 18.7 74.5; deep orange yellow 61.1 19 74.2; light orange yellow 86.4 12.3 51;
moderate orange yellow 72.8 13.1 49.2; dark orange yellow 61.1 14.1 49.4;
pale orange yellow 86.3 6.3 28.2; strong yellowish brown 46.9 16.8 59;
deep yellowish brown 29.4 11.5 37.1; light yellowish brown 67 7.8 28.8;
moderate yellowish brown 45.9 7.7 25.3; dark yellowish brown 22.2 8 21.5;
light grayish yellowish brown 65 3.8 15.1; grayish yellowish brown 46.9 4 13.3;
dark grayish yellowish brown 24.2 4 10.2; vivid yellow 78.7 2.2 99.5; brilliant yellow 88.3 -0.9 67;
strong yellow 72.9 1.2 66; deep yellow 61.1 2.4 65.9; light yellow 88.3 -1.7 47.7;
moderate yellow 72.9 -0.1 46.2; dark yellow 61.1 1 46.3; pale yellow 89.3 -2.3 27.5;
grayish yellow 72.9 -1.2 26; dark grayish yellow 61.1 -0.2 28.8; yellowish white 92.1 -0.9 8.8;
yellowish gray 75.7 -0.7 9.9; light olive brown 51.1 6.6 56.3; moderate olive brown 35.6 5.7 40.2;
dark olive brown 18.3 3.2 16.8; vivid greenish yellow 78.7 -15.5 103.2;
brilliant greenish yellow 88.4 -14.1 69.7; strong greenish yellow 72.9 -12.7 68.9;
deep greenish yellow 61.2 -11.7 68.4; light greenish yellow 88.4 -11.4 49.5;
moderate greenish yellow 72.9 -10.3 47.7; dark greenish yellow 61.1 -9.8 47.9;
pale greenish yellow 89.3 -8.2 32; grayish greenish yellow 72.9 -7.5 30.3; light olive 52.1 -7 58.1;
moderate olive 35.6 -4.6 41.3; dark olive 17.3 -2.2 23.2; light grayish olive 56.1 -3.7 17.6;
grayish olive 35.6 -2.8 15.7; dark grayish olive 20.3 -1.8 11.3; light olive gray 56.1 -1.8 9.6;
olive gray 35.6 -1.4 6.9; vivid yellow green 75.9 -38 96.1; brilliant yellow green 85.5 -28.1 60.6;
strong yellow green 61.2 -27.6 57.9; deep yellow green 40.9 -26.1 58.1; light yellow green 86.4 -17.7 36;
moderate yellow green 61.1 -17.3 32.5; pale yellow green 87.3 -7.6 17.5;
grayish yellow green 62.1 -7.8 14.6; strong olive green 32.6 -23.4 48.7; deep olive green 24.3 -23 42.5;
moderate olive green 35.6 -16.9 30.3; dark olive green 18.3 -12.8 20; grayish olive green 35.6 -7.4 12;
dark grayish olive green 20.3 -5.3 7.9; vivid yellowish green 71.1 -73.3 58.7;
brilliant yellowish green 80.7 -44.6 36.1; strong yellowish green 56.2 -45.1 34;
deep yellowish green 35.7 -56.8 38.9; very deep yellowish green 20.4 -43.5 25.6;
very light yellowish green 91.3 -26.7 21.4; light yellowish green 75.8 -26.2 20.6;
moderate yellowish green 56.2 -25.5 19; dark yellowish green 35.6 -24.9 17.3;
very dark yellowish green 15.4 -26.4 14.5; vivid green 53.3 -99.6 16.7; brilliant green 74.9 -49.4 14.4;
strong green 46 -50.2 12; deep green 23.3 -46.4 8.5; very light green 86.4 -30.7 10.1;
light green 66.1 -28.3 8.7; moderate green 46 -27.8 7.7; dark green 27.4 -25.3 6.1;
very dark green 13.5 -28.4 5.3; very pale green 87.3 -11.8 2.6; pale green 66 -10.5 2.1;
grayish green 45.9 -9.5 1.6; dark grayish green 28.3 -7.3 1; blackish green 11.4 -5.8 0.6;
greenish white 92.1 -4.5 1.4; light greenish gray 75.7 -5 1.5; greenish gray 56.1 -4.5 1.3;
dark greenish gray 35.6 -4 1; vivid bluish green 54.2 -80.1 -11.3; brilliant bluish green 73.9 -46.5 -3.6;
strong bluish green 46 -46.5 -7.4; deep bluish green 23.3 -43.2 -9.6;
very light bluish green 85.4 -28.2 -0.9; light bluish green 66 -26.1 -2.2;
moderate bluish green 45.9 -25.3 -3.7; dark bluish green 27.3 -23.4 -4.9;
very dark bluish green 13.4 -24.9 -6.7; vivid greenish blue 53 -40.6 -42.1;
brilliant greenish blue 68.9 -29.6 -27.2; strong greenish blue 45.9 -27.6 -30.1;
deep greenish blue 25.2 -25.5 -32.7; very light greenish blue 82.5 -19.2 -15;
light greenish blue 66 -17.6 -15.2; moderate greenish blue 45.9 -16.4 -16.9;
dark greenish blue 27.3 -14.6 -17.9; very dark greenish blue 13.4 -12.9 -18.6; vivid blue 42.6 -0.9 -61.1;
brilliant blue 64.9 -5.3 -44.1; strong blue 42.7 -2.3 -44.7; deep blue 20.1 2 -39.5;
very light blue 82.4 -7.5 -28.9; light blue 65.9 -5 -28; moderate blue 42.7 -2.7 -29.7;
dark blue 17.2 -0.1 -22.8; very pale blue 84.4 -4.7 -10.1; pale blue 66 -4.2 -10.3;
grayish blue 42.8 -3.7 -12; dark grayish blue 26.3 -3.2 -8.4; blackish blue 11.4 -2 -7;
bluish white 92.1 -1.6 -2.3; light bluish gray 75.7 -1.8 -3; bluish gray 56.1 -1.8 -3.5;
dark bluish gray 35.5 -1.7 -4.3; bluish black 10.4 -0.8 -3.2; vivid purplish blue 24.6 66.4 -79.7;
brilliant purplish blue 60.9 15.1 -41.2; strong purplish blue 41.6 20.4 -45.2;
deep purplish blue 16.1 24.2 -38.1; very light purplish blue 78.5 5.3 -23.9;
light purplish blue 61 7.3 -26; moderate purplish blue 35.4 12.7 -29.7;
dark purplish blue 11.3 11.1 -21.1; very pale purplish blue 82.4 2.3 -15; pale purplish blue 61 3.1 -15.1;
grayish purplish blue 33.4 5.8 -18.7; vivid violet 26.7 70.5 -69.5; brilliant violet 59.9 25.6 -39.3;
strong violet 35.3 32.2 -41.3; deep violet 14.1 35.1 -37; very light violet 79.5 14.2 -25.8;
light violet 60.9 15.1 -25.4; moderate violet 35.4 20.2 -28.3; dark violet 13.3 16.7 -20.5;
very pale violet 82.4 6.9 -13.7; pale violet 61 7.9 -14; grayish violet 33.4 11.8 -17.7;
vivid purple 35.1 74.5 -55.2; brilliant purple 67.8 35.4 -30.5; strong purple 45.7 38.1 -31.4;
deep purple 28.1 39.5 -31.1; very deep purple 12.2 40.1 -29.8; very light purple 80.4 21.6 -19.7;
light purple 65.9 22.1 -19.6; moderate purple 45.8 24.7 -21.1; dark purple 27.2 20 -16.8;
very dark purple 11.3 20.4 -16.4; very pale purple 84.3 7.9 -8.6; pale purple 65 9.1 -7.1;
grayish purple 45.8 11 -7.7; dark grayish purple 28.3 10.3 -5.8; blackish purple 10.4 7.6 -5;
purplish white 91.1 2.1 -1.1; light purplish gray 75.7 2.6 -1.4; purplish gray 56 3.5 -1.7;
dark purplish gray 35.5 4.8 -2.6; purplish black 10.4 3.6 -2.4; vivid reddish purple 40.4 77.5 -34.9;
strong reddish purple 45.7 45.4 -19.8; deep reddish purple 28.1 45.4 -22.1;
very deep reddish purple 13.1 43.9 -25; light reddish purple 60.9 27.4 -11.1;
moderate reddish purple 45.8 30.1 -13; dark reddish purple 27.2 23.3 -11.3;
very dark reddish purple 11.3 22.9 -13.5; pale reddish purple 61 14.9 -6;
grayish reddish purple 45.8 17.2 -7.4; brilliant purplish pink 79.4 46.8 -6.6;
strong purplish pink 70.6 60.6 -10.1; deep purplish pink 60.9 49.1 -8.6;
light purplish pink 83.3 29.4 -3.7; moderate purplish pink 70.8 28.7 -4.1; dark purplish pink 61 30 -0.6;
pale purplish pink 85.3 12.3 -1.4; grayish purplish pink 70.8 12.7 -1.7;
vivid purplish red 40.5 75.1 -4.4; strong purplish red 45.7 53.8 -1.1; deep purplish red 28.1 52.5 -6.6;
very deep purplish red 13.2 42 -13.3; moderate purplish red 45.8 41.1 -0.2;
dark purplish red 27.2 30.9 -3.4; very dark purplish red 12.3 24.7 -7.7;
light grayish purplish red 61 16.1 0.8; grayish purplish red 45.8 24.1 0.3; white 92.6 0 0;
light gray 75.7 0 0; medium gray 56.1 0 0; dark gray 35.6 0 0; black 12.9 0 0
"""
